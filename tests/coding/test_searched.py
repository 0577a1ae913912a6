"""What stored resources are found by, held against the resources of a whole exam."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.intake.desks import intake
from tests.intake.exams import exam, raw

from brachium.coding.periods import interval
from brachium.coding.searched import ROWS, searched


@pytest.fixture
def stored():
    desk = intake()
    visit = {"identifier": {"system": "urn:visit", "value": "V 1"}}
    exam_id = desk.receive(raw(exam(encounter=visit))).exam.id
    return desk, exam_id


def found(desk, exam_id):
    rows = desk.desk.store.resources(exam_id)
    values = searched([(row.type, row.text) for row in rows])
    return [
        (row, [(v.parameter, v.value) for v in one]) for row, one in zip(rows, values, strict=True)
    ]


def test_src_20_every_row_of_the_table_finds_something(stored):
    desk, exam_id = stored
    told = {}
    first = found(desk, exam_id)
    desk.correct(exam_id, raw({**exam(), "note": "again"}), "why", 1)
    for row, values in (*first, *found(desk, exam_id)):
        told.setdefault(row.type, set()).update(name for name, _ in values)
    # a response is stored with exams that came as one; its own tests look at it
    kinds = set(ROWS) - {"QuestionnaireResponse"}
    missing = {(kind, row.parameter) for kind in kinds for row in ROWS[kind]} - {
        (kind, name) for kind, names in told.items() for name in names
    }
    # nothing claims a profile in this exam, nor has a component with a quantity
    assert {name for _, name in missing} <= {"_profile", "component-value-quantity"}


def test_tokens_references_and_dates_are_those_of_the_resource(stored):
    for row, values in found(*stored):
        if row.type != "Observation":
            continue
        resource = json.loads(row.text)
        codes = [f"{c['system']}|{c['code']}" for c in resource["code"]["coding"]]
        assert [value for name, value in values if name == "code"] == codes
        assert ("patient", resource["subject"]["reference"]) in values
        assert ("encounter:identifier", "urn:visit|V 1") in values
        assert ("date", interval(resource["effectiveDateTime"])) in values
        assert [v for n, v in values if n == "has-member"] == [
            one["reference"] for one in resource.get("hasMember", ())
        ]


def test_prv_04_a_provenance_is_found_by_target_agent_and_patient(stored):
    rows = {row.type: (row, values) for row, values in found(*stored)}
    values = rows["Provenance"][1]
    patient = f"Patient/{rows['Patient'][0].id}"
    assert ("patient", patient) in values
    assert ("target", f"DiagnosticReport/{rows['DiagnosticReport'][0].id}") in values
    assert ("agent", f"Practitioner/{rows['Practitioner'][0].id}") in values


def test_cor_02_what_is_withdrawn_is_found_by_its_new_status(stored):
    desk, exam_id = stored
    desk.withdraw(exam_id, "why", 1)
    for row, values in found(desk, exam_id):
        if row.type in ("Observation", "DiagnosticReport"):
            (status,) = [value for name, value in values if name == "status"]
            assert status.endswith("|entered-in-error")


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("2026", "2026-01-01T00:00:00.000Z", "2027-01-01T00:00:00.000Z"),
        ("2026-12", "2026-12-01T00:00:00.000Z", "2027-01-01T00:00:00.000Z"),
        ("2026-02-28", "2026-02-28T00:00:00.000Z", "2026-03-01T00:00:00.000Z"),
        ("2026-03-02T00:15:00+01:00", "2026-03-01T23:15:00.000Z", "2026-03-01T23:15:01.000Z"),
        ("2026-03-02T00:15:00.5Z", "2026-03-02T00:15:00.500Z", "2026-03-02T00:15:00.600Z"),
        ("2026-03-02T00:15:00.412Z", "2026-03-02T00:15:00.412Z", "2026-03-02T00:15:00.413Z"),
        ("0999", "0999-01-01T00:00:00.000Z", "1000-01-01T00:00:00.000Z"),
    ],
)
def test_src_07_a_date_is_the_interval_of_its_precision(text, low, high):
    assert interval(text) == f"{low}/{high}"


@pytest.mark.parametrize(
    ("written", "stored"),
    [
        ("150", "150"),
        ("12.50", "12.50"),
        ("34.40000000000000000001", "34.40000000000000000001"),
        ("1e-7", "0.0000001"),
        ("-5", "-5"),
    ],
)
def test_src_20_a_quantity_is_compared_as_it_was_written(written, stored):
    text = f'{{"valueQuantity":{{"value":{written},"system":"s","code":"deg"}}}}'
    ((row,),) = searched([("Observation", text.encode())])
    assert row == ("value-quantity", f"{stored}|s|deg")


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("9999", "9999-01-01T00:00:00.000Z", "9999-12-31T23:59:59.999Z"),
        ("9999-12", "9999-12-01T00:00:00.000Z", "9999-12-31T23:59:59.999Z"),
        ("9999-12-31T23:59:59Z", "9999-12-31T23:59:59.000Z", "9999-12-31T23:59:59.999Z"),
        ("9999-12-31T23:59:59-12:00", "9999-12-31T23:59:59.999Z", "9999-12-31T23:59:59.999Z"),
        ("0001-01-01T00:00:00+14:00", "0001-01-01T00:00:00.000Z", "0001-01-01T00:00:00.000Z"),
    ],
)
def test_src_07_where_time_ends_the_interval_ends(text, low, high):
    assert interval(text) == f"{low}/{high}"


@given(
    st.datetimes(),
    st.sampled_from([-14, -12, 0, 5, 14]),
)
def test_src_07_every_moment_that_an_exam_can_have_has_an_interval(moment, hours):
    sign = "-" if hours < 0 else "+"
    text = f"{moment:%m-%dT%H:%M:%S}{sign}{abs(hours):02}:00"
    low, high = interval(f"{moment.year:04}-{text}").split("/")
    assert len(low) == len(high) == 24
    assert low <= high
