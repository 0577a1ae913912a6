"""An exam goes out as a response and comes back as the same exam, digit for digit."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from pydantic import TypeAdapter
from tests.coding import conformance
from tests.coding.coded import CANONICAL, tables
from tests.coding.responses import (
    EXAMPLES,
    example,
    findings,
    parsed,
    questionnaire,
    read,
    written,
)
from tests.exam import builders
from tests.exam.strategies import exams, questions
from tests.oracles import invariants, structure_401, structure_r4b
from tests.tables.test_overlay import NEW_JOINT, overlay

from brachium.coding.response_reading import derived_key, read_response
from brachium.coding.response_writing import write_response
from brachium.coding.sample import sample
from brachium.exam.canonical import canonical
from brachium.exam.findings import Exam, Key
from brachium.exam.reading import examine
from brachium.exam.rule import ModelOptions
from brachium.formats.lossless import parse
from brachium.tables.load import load


def back(exam: Exam) -> bytes:
    """Through the bytes, parsed as the service parses what is sent to it."""
    text = write_response(exam, tables(), CANONICAL)
    found = read_response(parse(text), tables(), CANONICAL)
    assert found.problems == ()
    examined = examine(found.content(), tables(), ModelOptions(convert_units=True))
    assert examined.exam is not None, examined.problems
    assert conformance.complaints(parsed(text), questionnaire()) == []
    return canonical(examined.exam)


@settings(
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(exams(tables()))
def test_sdc_01_generated_exams_come_back_without_loss(posted):
    exam = builders.read(posted).exam
    assert exam is not None
    assert back(exam) == canonical(exam)


def _answered(question):
    """Each question of the catalogue, answered by a reason: no two can contradict each other."""
    paired = ("both",) if question.get("sign", "").endswith("asymmetry") else ("left", "right")
    for side in paired:
        for number, because in enumerate(("pain", None)):
            absent = {"reason": ("declined", "not-examined")[number], "because": because}
            yield {**question, "side": side, "absent": absent}


def test_sdc_01_every_question_of_the_catalogue_comes_back():
    asked = [next(_answered(one)) for one in questions(tables())]
    assert len(asked) > 400
    exam = builders.read(builders.exam(*asked)).exam
    assert exam is not None
    assert back(exam) == canonical(exam)


def test_every_concept_of_the_tables_comes_back():
    exam = sample(tables())
    known = [
        one for one in exam.findings if one.kind != "part" or not tables().joints[one.joint].digits
    ]
    exam = exam.model_copy(update={"findings": tuple(known)})
    text = write_response(exam, tables(), CANONICAL)
    found = read_response(parse(text), tables(), CANONICAL)
    assert canonical(Exam.model_validate(found.exam)) == canonical(exam)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_sdc_01_every_example_comes_back_and_its_response_is_valid(path):
    exam = example(path.stem)
    assert back(exam) == canonical(exam)
    response = written(exam)
    assert structure_401.complaints(response) == []
    assert structure_r4b.complaints(response) == []


@pytest.mark.parametrize("name", ["parts-not-tested", "draft", "stiff-shoulder"])
@pytest.mark.usefixtures("fhir_definitions")
def test_a_response_keeps_the_invariants_of_hl7(name):
    assert [str(one) for one in invariants.complaints(written(example(name)))] == []


def test_a_converted_value_comes_back_as_it_was_posted():
    posted = builders.exam(
        builders.move() | {"angle": {"value": 2, "unit": "rad"}},
        builders.end("short-of-straight", 1) | {"magnitude": {"value": 1, "unit": "rad"}},
    )
    exam = builders.read(posted, convert_units=True).exam
    assert exam is not None
    text = write_response(exam, tables(), CANONICAL)
    assert conformance.complaints(parsed(text), questionnaire(convert_units=True)) == []
    found = read_response(parse(text), tables(), CANONICAL)
    examined = examine(found.content(), tables(), ModelOptions(convert_units=True))
    assert examined.exam is not None
    assert canonical(examined.exam) == canonical(exam)


@pytest.mark.parametrize("digits", [b"12.50", b"12.5", b"12", b"0.10", b"100"])
def test_neg_06_numbers_keep_their_digits_both_ways(digits):
    response = write_response(example("draft"), tables(), CANONICAL)
    start = response.index(b'"valueQuantity":{"value":') + len(b'"valueQuantity":{"value":')
    end = response.index(b",", start)
    changed = response[:start] + digits + response[end:]
    found = read_response(parse(changed), tables(), CANONICAL)
    assert b'"value":' + digits + b"," in found.content()
    exam = Exam.model_validate(found.exam)
    assert write_response(exam, tables(), CANONICAL) == changed


@pytest.mark.parametrize(
    ("name", "status", "told"),
    [
        ("draft", "preliminary", "in-progress"),
        ("child", "final", "completed"),
        ("child", "amended", "amended"),
        ("child", "corrected", "amended"),
        ("child", "entered-in-error", "entered-in-error"),
        ("draft", "amended", "amended"),
        ("draft", "entered-in-error", "entered-in-error"),
    ],
)
def test_the_status_is_told_and_the_one_posted_survives(name, status, told):
    exam = example(name)
    response = written(exam, status=status, authored="2026-03-02T10:20:00.000Z")
    assert response["status"] == told
    assert structure_401.complaints(response) == []
    found = read(response)
    assert found.status == told
    assert [one.code for one in found.problems] == ["response-not-kept"]
    assert canonical(Exam.model_validate(found.exam)) == canonical(exam)


def test_the_same_exam_gives_the_same_bytes_whatever_the_order_of_its_findings_elsewhere():
    exam = example("child")
    again = Exam.model_validate(parsed(canonical(exam)))
    first, second = (write_response(one, tables(), CANONICAL) for one in (exam, exam))
    assert first == second
    assert canonical(Exam.model_validate(read(written(again)).exam)) == canonical(exam)


def test_a_form_that_knows_no_keys_gets_the_same_keys_every_time():
    response = written(example("child"))
    for _, node in findings(response):
        node["item"] = [one for one in node["item"] if not one["linkId"].endswith(".key")]
    keys = [one["key"] for one in read(response).exam["findings"]]
    assert len(keys) == len(set(keys)) > 20
    assert keys == [one["key"] for one in read(response).exam["findings"]]
    assert examine(read(response).content(), tables(), ModelOptions()).exam is not None


def test_derived_keys_tell_questions_apart_and_stay_short_enough():
    said = {"kind": "motion", "joint": "a" * 64, "motion": "b" * 64, "side": "left"}
    left, right = derived_key(said), derived_key(said | {"side": "right"})
    assert left != right
    for key in (left, right):
        assert TypeAdapter(Key).validate_python(key) == key


def test_an_invented_joint_comes_back_from_rows_alone(tmp_path):
    more = load(overlay=overlay(tmp_path, NEW_JOINT))
    where = {"joint": "tail", "side": "left"}
    posted = builders.exam(
        where
        | {"kind": "motion", "motion": "wag", "mode": "active"}
        | {"angle": {"value": 62, "unit": "deg"}, "limitedBy": ["pain", "swelling"]},
        where | {"kind": "inspection", "site": "tip", "sign": "bruising", "present": False},
        where
        | {
            "kind": "palpation",
            "site": "tip",
            "sign": "tenderness",
            "present": True,
            "severity": 4,
        },
        where | {"kind": "strength", "test": "wag", "grade": "4+"},
        where | {"kind": "part", "part": "palpation", "side": "right", "outcome": "no-abnormality"},
    )
    exam = Exam.model_validate(posted)
    text = write_response(exam, more, CANONICAL)
    found = read_response(parse(text), more, CANONICAL)
    assert canonical(Exam.model_validate(found.exam)) == canonical(exam)


def test_an_exam_that_the_tables_cannot_say_is_not_written_in_part():
    exam = Exam.model_validate(builders.exam(builders.move(150)))
    (finding,) = exam.findings
    for change in ({"motion": "wagging"}, {"digit": "index"}, {"limited_by": ("boredom",)}):
        odd = exam.model_copy(update={"findings": (finding.model_copy(update=change),)})
        with pytest.raises(LookupError):
            write_response(odd, tables(), CANONICAL)
