"""Search rows read from stored text are those that coding makes."""

from __future__ import annotations

from tests.intake.desks import intake
from tests.intake.exams import exam, raw

from brachium.coding.search_rows import search_rows


def test_rows_of_stored_text_are_the_rows_that_coding_made() -> None:
    desk = intake()
    content = exam(encounter={"identifier": {"system": "urn:visit", "value": "V 1"}})
    exam_id = desk.receive(raw(content)).exam.id
    store = desk.desk.store
    compared = 0
    for row in store.resources(exam_id):
        if row.type in ("Observation", "DiagnosticReport"):
            made = store.kept[row.type, row.id][-1].resource.search
            assert sorted(map(str, search_rows(row))) == sorted(map(str, made))
            compared += 1
        else:
            assert search_rows(row) == ()
    assert compared > len(content["findings"])


def test_cor_02_what_is_withdrawn_is_found_by_its_new_status() -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    store = desk.desk.store
    desk.withdraw(exam_id, "why", 1)
    for row in store.resources(exam_id):
        if row.type in ("Observation", "DiagnosticReport"):
            first, last = store.kept[row.type, row.id]
            before = {(one.parameter, one.value) for one in first.resource.search}
            after = {(one.parameter, one.value) for one in last.resource.search}
            assert {name for name, _ in before ^ after} == {"status"}
            assert any(value.endswith("|entered-in-error") for _, value in after - before)
