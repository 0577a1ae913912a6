"""A new exam comes in: created, repeated, in conflict, refused, or only previewed."""

from __future__ import annotations

import json

from tests.intake.desks import export, intake
from tests.intake.exams import exam, finding, raw
from tests.intake.memory_store import MemoryStore

from brachium.intake.receipt import Outcome
from brachium.records import ExamStatus


def rows_by_type(store, exam_id, version=None):
    return [(row.type, row.version) for row in store.resources(exam_id, version)]


def test_exm_01_a_new_exam_is_stored_with_everything_that_belongs_to_it() -> None:
    desk = intake()
    receipt = desk.receive(raw(exam()))
    assert receipt.outcome is Outcome.CREATED
    assert receipt.exam is not None
    assert receipt.exam.status is ExamStatus.FINAL
    types = [row.type for row in desk.desk.store.resources(receipt.exam.id)]
    assert types.count("Provenance") == 1
    assert types.count("DiagnosticReport") == 1
    assert {"Patient", "Practitioner", "Organization", "Observation"} < set(types)


def test_exm_03_same_content_twice_gives_same_and_writes_nothing() -> None:
    desk = intake()
    first = desk.receive(raw(exam()))
    shuffled = exam()
    shuffled["findings"].reverse()
    again = desk.receive(raw(dict(reversed(shuffled.items()))))
    assert again.outcome is Outcome.SAME
    assert again.exam is not None
    assert (again.exam.id, again.exam.version) == (first.exam.id, 1)
    assert len(desk.desk.store.versions(first.exam.id)) == 1
    assert all(len(kept) == 1 for kept in desk.desk.store.kept.values())


def test_exm_04_same_identifier_with_other_content_is_a_conflict() -> None:
    desk = intake()
    first = desk.receive(raw(exam()))
    before = desk.desk.store.resources(first.exam.id)
    other = exam()
    finding(other, "abduction-r")["angle"]["value"] = 151
    receipt = desk.receive(raw(other))
    assert receipt.outcome is Outcome.CONFLICT
    assert desk.desk.store.resources(first.exam.id) == before


def test_exm_03_a_late_repeat_of_the_first_post_is_told_what_the_exam_is_now() -> None:
    desk = intake()
    first = desk.receive(raw(exam()))
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 151
    desk.correct(first.exam.id, raw(changed), "read wrongly", 1)
    receipt = desk.receive(raw(exam()))
    assert receipt.outcome is Outcome.SAME
    assert (receipt.exam.version, receipt.exam.status) == (2, ExamStatus.CORRECTED)


def test_exm_04_a_withdrawn_exam_does_not_come_back_by_posting_it_again() -> None:
    desk = intake()
    first = desk.receive(raw(exam()))
    desk.withdraw(first.exam.id, "wrong person", 1)
    receipt = desk.receive(raw(exam()))
    assert receipt.outcome is Outcome.CONFLICT
    assert "exam-withdrawn" in [problem.code for problem in receipt.problems]


def test_exm_06_a_bad_exam_is_refused_and_a_broken_one_is_broken() -> None:
    desk = intake()
    bad = exam()
    finding(bad, "abduction-r")["angle"]["value"] = 260
    del finding(bad, "tender")["side"]
    receipt = desk.receive(raw(bad))
    assert receipt.outcome is Outcome.REFUSED
    assert {problem.pointer.split("/")[2] for problem in receipt.problems} >= {"0", "2"}
    assert desk.receive(b"{").outcome is Outcome.BROKEN
    assert desk.desk.store.exams == {}


def test_exm_07_a_dry_run_shows_the_bundle_that_would_be_stored_and_stores_nothing() -> None:
    store = MemoryStore()
    tried = intake(store)
    preview = tried.dry_run(raw(exam()))
    assert preview.outcome is Outcome.PREVIEW
    assert store.exams == {}
    assert store.kept == {}
    stored = intake()  # a clock of its own, at the same time
    receipt = stored.receive(raw(exam()))
    shown = export(tried).framed(preview.exam, preview.resources)
    assert shown == export(stored).bundle(receipt.exam.id, "collection")
    assert preview.problems == receipt.problems


def test_exm_07_a_dry_run_refuses_what_the_intake_refuses() -> None:
    desk = intake()
    bad = exam()
    finding(bad, "abduction-r")["angle"]["value"] = 260
    assert desk.dry_run(raw(bad)).outcome is Outcome.REFUSED
    assert desk.dry_run(b"[").outcome is Outcome.BROKEN
    assert desk.dry_run(raw(bad)).problems == desk.receive(raw(bad)).problems


def test_exm_14_a_draft_is_preliminary_in_every_observation() -> None:
    desk = intake()
    receipt = desk.receive(raw(exam(status="preliminary")))
    assert receipt.exam.status is ExamStatus.PRELIMINARY
    statuses = {
        json.loads(row.text)["status"]
        for row in desk.desk.store.resources(receipt.exam.id)
        if row.type in ("Observation", "DiagnosticReport")
    }
    assert statuses == {"preliminary", "cancelled"}


def test_pointers_of_stored_problems_lead_into_the_stored_content() -> None:
    desk = intake()
    receipt = desk.receive(raw(exam()))
    stored = desk.desk.store.exam(receipt.exam.id)
    posted, content = exam()["findings"], json.loads(stored.content)["findings"]
    kept = json.loads(stored.problems)
    answered = json.loads(receipt.exam.problems)
    assert [one["message"] for one in kept] == [one["message"] for one in answered]
    assert kept, "the exam has findings without a standard code"
    for told, shown in zip(kept, answered, strict=True):
        index, place = int(told["pointer"].split("/")[2]), int(shown["pointer"].split("/")[2])
        assert content[index]["key"] == posted[place]["key"]
    assert [one["pointer"] for one in kept] != [one["pointer"] for one in answered]


def codes(receipt) -> list[tuple[str, str, str]]:
    return [(one.code, one.severity.value, one.pointer) for one in receipt.problems]


def test_exm_13_an_examination_in_the_future_is_kept_with_a_warning() -> None:
    ahead = ("effective-ahead", "warning", "/effective")
    for moment, told in (
        ("2026-03-02T10:31:00Z", False),
        ("2026-03-02T11:32:00+01:00", True),
        ("2036-03-02T10:15:00+01:00", True),
    ):
        posted = raw(exam(effective=moment))
        assert (ahead in codes(intake().dry_run(posted))) == told, moment
        receipt = intake().receive(posted)
        assert receipt.outcome is Outcome.CREATED
        assert (ahead in codes(receipt)) == told, moment


def test_exm_13_a_correction_into_the_future_is_told() -> None:
    desk = intake()
    stored = desk.receive(raw(exam())).exam
    moved = raw(exam(effective="2062-03-02T10:15:00+01:00"))
    receipt = desk.correct(stored.id, moved, "The year was wrong.", 1)
    assert receipt.outcome is Outcome.CHANGED
    assert ("effective-ahead", "warning", "/effective") in codes(receipt)
