"""A bundle reads back into the exam it was made of."""

from __future__ import annotations

import jiter
import pytest
from hypothesis import HealthCheck, given, settings
from tests.coding.coded import CANONICAL, Stamp, code, code_exam, tables
from tests.conftest import CHECKOUT
from tests.exam.builders import end, grip, move, read
from tests.exam.strategies import exams

from brachium.coding.decode import decode
from brachium.coding.sample import sample
from brachium.exam.canonical import canonical
from brachium.exam.findings import Exam

EXAMPLES = sorted((CHECKOUT / "examples").glob("*.json"))


def back(coded):
    decoded = decode(coded.bundle, tables(), CANONICAL)
    assert decoded.problems == ()
    return canonical(Exam.model_validate(decoded.exam))


@settings(
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(exams(tables()))
def test_generated_exams_read_back_without_loss(posted):
    exam = read(posted).exam
    assert exam is not None
    assert back(code_exam(exam, Stamp("2026-01-01T00:00:00Z", report_status=exam.status))) == (
        canonical(exam)
    )


@pytest.mark.parametrize("changes", [{}, {"snomed": False}, {"side": "site"}, {"side": "code"}])
def test_every_concept_of_the_tables_reads_back(changes):
    exam = sample(tables())
    assert back(code_exam(exam, **changes)) == canonical(exam)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_example_reads_back(path):
    exam = Exam.model_validate(jiter.from_json(path.read_bytes(), float_mode="decimal"))
    stamp = Stamp("2026-01-01T00:00:00Z", report_status=exam.status)
    assert back(code_exam(exam, stamp)) == canonical(exam)


def test_exm_12_a_converted_value_reads_back_as_it_was_posted():
    from tests.exam.builders import exam

    posted = exam(
        move() | {"angle": {"value": 2, "unit": "rad"}},
        end("short-of-straight", 1) | {"magnitude": {"value": 1, "unit": "rad"}},
    )
    read_exam = read(posted, convert_units=True).exam
    assert read_exam is not None
    assert back(code_exam(read_exam)) == canonical(read_exam)


@pytest.mark.parametrize("status", ["amended", "corrected", "entered-in-error"])
def test_the_status_as_posted_survives_later_statuses(status):
    stamp = Stamp("2026-01-01T00:00:00Z", 2, status, reason="x")
    coded = code(move(150), grip(30, 31), stamp=stamp)
    assert back(coded) == canonical(coded.exam)


def test_obs_06_the_order_of_codings_does_not_matter():
    coded = code(move(150, method="goniometer", position="sitting"), end("straight"))
    for observation in coded.of("Observation"):
        for member in ("code", "bodySite", "method"):
            observation.get(member, {"coding": []})["coding"].reverse()
    assert back(coded) == canonical(coded.exam)


@pytest.mark.parametrize("where", ["code", "bodySite"])
def test_obs_05_msk_lat_1_a_contradiction_between_the_sides_is_named(where):
    left, right = code(move(150, side="left")), code(move(150))
    taken = left.leaf("f0")
    member = right.leaf("f0")[where]
    member["coding"] = taken[where]["coding"]
    decoded = decode(right.bundle, tables(), CANONICAL)
    (problem,) = decoded.problems
    assert problem.code == "side-contradiction"
    assert problem.issue_type == "invariant"


def test_a_bundle_without_a_report_is_refused():
    bundle = code(move(150)).bundle
    bundle["entry"] = [e for e in bundle["entry"] if "result" not in e["resource"]]
    with pytest.raises(LookupError):
        decode(bundle, tables(), CANONICAL)


def test_an_own_code_that_the_tables_lack_is_refused():
    coded = code(move(150))
    coded.leaf("f0")["code"]["coding"][0]["code"] = "tail-wagging"
    with pytest.raises(LookupError):
        decode(coded.bundle, tables(), CANONICAL)
