"""Generated exams over the whole catalogue: valid ones pass, broken ones are refused in place."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from tests.exam.builders import read, tables, to_json
from tests.exam.strategies import MUTATIONS, broken_by, broken_exams, exams, questions

from brachium.exam.canonical import canonical
from brachium.exam.schema import json_schema
from brachium.problems import Severity

modest = settings(
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
# a failure over many mutations is not shrunk: the example itself is small enough to read
few = settings(modest, max_examples=12, phases=(Phase.explicit, Phase.reuse, Phase.generate))
SCHEMA = Draft202012Validator(json_schema(tables()))


def as_json(posted: Any) -> Any:
    import json

    return json.loads(to_json(posted))


@modest
@given(exams(tables()))
def test_exm_06_generated_exams_are_accepted_and_keep_their_content(posted):
    examined = read(posted)
    errors = [p for p in examined.problems if p.severity is Severity.ERROR]
    assert errors == []
    assert examined.exam is not None
    text = canonical(examined.exam)
    again = read(text)
    assert again.exam is not None
    assert canonical(again.exam) == text
    assert SCHEMA.is_valid(as_json(posted)), next(SCHEMA.iter_errors(as_json(posted))).message


@modest
@given(exams(tables()), st.randoms(use_true_random=False))
def test_exm_03_order_of_findings_and_members_does_not_change_the_canonical_text(posted, rng):
    first = read(posted).exam
    findings = [dict(sorted(one.items(), reverse=True)) for one in posted["findings"]]
    rng.shuffle(findings)
    second = read({**dict(reversed(posted.items())), "findings": findings}).exam
    assert first is not None
    assert second is not None
    assert canonical(first) == canonical(second)


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.__name__.strip("_"))
def test_exm_06_broken_exams_are_refused_with_the_pointer_of_the_broken_place(mutation):
    applied = Counter[str]()

    @few
    @given(broken_by(tables(), mutation))
    def refused(broken):
        posted, pointer = broken
        examined = read(posted)
        assert examined.exam is None
        errors = {p.pointer for p in examined.problems if p.severity is Severity.ERROR}
        assert pointer in errors
        applied[pointer] += 1

    refused()
    assert applied


@modest
@given(broken_exams(tables()))
def test_exm_11_schema_never_refuses_what_the_service_accepts(broken):
    posted, _ = broken
    examined = read(posted)
    if SCHEMA.is_valid(as_json(posted)):
        shape_only = {p.code for p in examined.problems if p.severity is Severity.ERROR}
        assert shape_only <= BEYOND_A_SCHEMA, "the schema could have said this"
    else:
        assert examined.exam is None


BEYOND_A_SCHEMA = {
    "limit-refused",
    "angle-range",
    "passive-far-below-active",
    "key-twice",
    "question-twice",
    "effective-unreal",
    "birth-date-unreal",
    "born-after-exam",
    "value-negative",
    "severity-contradicts-present",
    "strong-without-motion",
    "paralysed-with-motion",
    "part-contradicts-sign",
    "ends-crossed",
    "deficit-and-hyperextension",
}


def test_the_catalogue_of_the_generator_covers_every_row():
    asked = questions(tables())
    motions = {(q["joint"], q["motion"]) for q in asked if q["kind"] == "motion"}
    tests = {(q["joint"], q["test"]) for q in asked if q["kind"] == "strength"}
    sites = {(q["joint"], q["kind"], q["site"]) for q in asked if "site" in q}
    assert motions == set(tables().motions)
    assert tests == set(tables().strength)
    assert sites == set(tables().sites)
