"""The kept responses are what the program writes, and stand for the exams they are named after."""

from __future__ import annotations

import jiter
import pytest
from tests.coding import conformance
from tests.coding.responses import questionnaire
from tests.examples import golden

from brachium.coding.response_reading import read_response
from brachium.exam.canonical import canonical
from brachium.exam.findings import Exam
from brachium.formats.lossless import parse
from brachium.tables.load import load

every_response = pytest.mark.parametrize("exam", golden.ANSWERED, ids=lambda path: path.stem)


@every_response
def test_response_is_golden_byte_for_byte(exam):
    assert golden.response(exam, load()) == golden.response_file(exam).read_bytes()


@every_response
def test_response_is_the_exam_and_conforms_to_the_questionnaire(exam):
    text = golden.response_file(exam).read_bytes()
    found = read_response(parse(text), load(), golden.CANONICAL)
    posted = jiter.from_json(exam.read_bytes(), float_mode="decimal")
    assert found.problems == ()
    assert canonical(Exam.model_validate(found.exam)) == canonical(Exam.model_validate(posted))
    response = jiter.from_json(text, float_mode="decimal")
    assert conformance.complaints(response, questionnaire()) == []


@pytest.mark.parametrize("exam", golden.EXAMS, ids=golden.NAMES)
def test_sdc_01_what_is_extracted_is_the_bundle_that_the_intake_makes(exam, tmp_path):
    posted = Exam.model_validate(jiter.from_json(exam.read_bytes(), float_mode="decimal"))
    found = read_response(parse(golden.response(exam, load())), load(), golden.CANONICAL)
    extracted, same = tmp_path / "extracted.json", tmp_path / "same.json"
    extracted.write_bytes(found.content())
    by_key = {finding.key: finding for finding in posted.findings}
    ordered = [by_key[finding["key"]] for finding in found.exam["findings"]]
    # the order of findings is the form's; members of a panel come in the order of the findings
    same.write_bytes(unsorted(posted.model_copy(update={"findings": tuple(ordered)})))
    made = golden.bundle(extracted, "transaction")
    assert made[0] == 0
    assert made == golden.bundle(same, "transaction")
    kept = golden.bundle_file(exam, "transaction").read_bytes()
    assert entries(made[1]) == entries(kept)


def unsorted(exam: Exam) -> bytes:
    """The canonical text with the findings in their own order."""
    head = jiter.from_json(canonical(exam), float_mode="lossless-float")
    findings = {one["key"]: one for one in head["findings"]}
    head["findings"] = [findings[one.key] for one in exam.findings]
    from brachium.formats.lossless import write

    return write(head)


def entries(bundle: bytes) -> list[tuple[str, str]]:
    parsed = jiter.from_json(bundle)["entry"]
    return sorted((one["fullUrl"], one["resource"]["resourceType"]) for one in parsed)
