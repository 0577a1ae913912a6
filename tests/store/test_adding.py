"""What becomes of an exam version that is to be added."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.store.exams import SYSTEM, at, first, following, own, patient

from brachium.records import ExamStatus, Occasion
from brachium.store.port import Contradiction, Outcome


def test_an_added_exam_comes_back_as_it_was(store):
    exam = first(reason="", problems=b'[{"code":"x"}]')
    added = store.add(exam, None)
    assert added.outcome == "created"
    assert added.exam == replace(exam, resources=())
    assert store.exam(exam.id) == added.exam
    assert store.exam(exam.id, 1) == added.exam
    assert store.exam_by_identifier(SYSTEM, "EX-1") == added.exam
    assert store.versions(exam.id) == (added.exam,)


def test_resources_come_back_in_their_order_with_version_and_time(store):
    parts = (own("EX-1", "a"), patient(), own("EX-1", "b"), patient("q"), own("EX-1", "c"))
    exam = first(resources=parts)
    store.add(exam, None)
    rows = store.resources(exam.id)
    assert [(row.type, row.id) for row in rows] == [(one.type, one.id) for one in parts]
    assert [row.text for row in rows] == [one.text(1, exam.recorded) for one in parts]
    assert {(row.version, row.updated) for row in rows} == {(1, exam.recorded)}


def test_what_is_not_stored_is_not_found(store):
    store.add(first(), None)
    assert store.exam("id-EX-2") is None
    assert store.exam("id-EX-1", 2) is None
    assert store.exam_by_identifier(SYSTEM, "EX-2") is None
    assert store.exam_by_identifier("other", "EX-1") is None
    assert store.versions("id-EX-2") == ()
    assert store.resources("id-EX-2") == ()
    assert store.resources("id-EX-1", 2) == ()


def test_exm_03_the_same_again_stores_nothing(store):
    exam = first()
    store.add(exam, None)
    again = store.add(replace(exam, recorded=at(9)), None)
    assert again.outcome is Outcome.SAME
    assert again.exam == replace(exam, resources=())
    assert len(store.versions(exam.id)) == 1
    assert len(store.history("Observation", "EX-1-a").rows) == 1


def test_exm_03_the_first_post_again_is_harmless_after_a_correction(store):
    exam = first()
    store.add(exam, None)
    newest = store.add(following(exam, (own("EX-1", "a"),)), 1).exam
    again = store.add(exam, None)
    assert (again.outcome, again.exam) == (Outcome.SAME, newest)


def test_exm_03_the_newest_content_again_is_the_same(store):
    exam = first()
    store.add(exam, None)
    second = following(exam, (own("EX-1", "a"),))
    store.add(second, 1)
    assert store.add(replace(second, version=1), None).outcome is Outcome.SAME


def test_exm_04_other_content_is_a_conflict_and_changes_nothing(store):
    exam = first()
    stored = store.add(exam, None).exam
    rows = store.resources(exam.id)
    other = first(content=b'{"other":1}', resources=(own("EX-1", "a", b'{"n":2}'),))
    added = store.add(other, None)
    assert (added.outcome, added.exam) == (Outcome.CONFLICT, stored)
    assert store.versions(exam.id) == (stored,)
    assert store.resources(exam.id) == rows


def test_exm_04_content_of_a_version_in_between_is_a_conflict(store):
    exam = first()
    second = following(exam, (own("EX-1", "a"),))
    third = following(second, (own("EX-1", "a"),))
    store.add(exam, None)
    store.add(second, 1)
    store.add(third, 2)
    assert store.add(replace(second, version=1), None).outcome is Outcome.CONFLICT


def test_a_stale_version_changes_nothing(store):
    exam = first()
    second = following(exam, (own("EX-1", "a"),))
    store.add(exam, None)
    stored = store.add(second, 1).exam
    late = following(exam, (own("EX-1", "b", b'{"late":1}', 2),), content=b"late")
    added = store.add(late, 1)
    assert (added.outcome, added.exam) == (Outcome.STALE, stored)
    assert len(store.history("Observation", "EX-1-b").rows) == 1


def test_a_new_version_of_nothing_is_missing(store):
    second = following(first())
    added = store.add(second, 1)
    assert (added.outcome, added.exam) == (Outcome.MISSING, replace(second, resources=()))
    assert store.exam(second.id) is None


def test_unchanged_resources_link_to_the_version_that_is_there(store):
    exam = first()
    store.add(exam, None)
    changed = own("EX-1", "b", b'{"n":2}', version=2)
    second = following(exam, (patient(), own("EX-1", "a"), changed))
    store.add(second, 1)
    assert len(store.history("Observation", "EX-1-a").rows) == 1
    newest, oldest = store.history("Observation", "EX-1-b").rows
    assert (newest.version, newest.updated) == (2, second.recorded)
    assert (oldest.version, oldest.updated) == (1, exam.recorded)
    assert [row.version for row in store.resources(exam.id)] == [1, 1, 2]
    assert [row.version for row in store.resources(exam.id, 1)] == [1, 1, 1]


def test_ver_07_stored_versions_never_change(store):
    exam = first()
    store.add(exam, None)
    before = store.resources(exam.id, 1), store.read("Observation", "EX-1-a", 1)
    for number in (1, 2, 3):
        body = f'{{"n":{number + 1}}}'.encode()
        exam = following(exam, (patient(), own("EX-1", "a", body, number + 1)))
        assert store.add(exam, number).outcome == "created"
    assert (store.resources(exam.id, 1), store.read("Observation", "EX-1-a", 1)) == before
    assert [one.version for one in store.versions(exam.id)] == [1, 2, 3, 4]


def test_a_shared_resource_gets_a_version_only_when_it_changed(store):
    store.add(first("EX-1"), None)
    store.add(first("EX-2"), None)
    assert len(store.history("Patient", "p").rows) == 1
    moved = patient(body=b'{"born":1970}')
    store.add(first("EX-3", (moved, own("EX-3", "a")), recorded=at(3)), None)
    newest, oldest = store.history("Patient", "p").rows
    assert (newest.version, newest.text) == (2, moved.text(2, at(3)))
    assert oldest.version == 1
    # earlier exams keep what they referred to
    assert store.resources("id-EX-1")[0] == oldest
    assert store.resources("id-EX-3")[0] == newest
    # what was true once and is true again is a version of its own
    store.add(first("EX-4"), None)
    assert [row.version for row in store.history("Patient", "p").rows] == [3, 2, 1]


def test_a_shared_resource_with_a_number_stays_at_that_version(store):
    exam = first("EX-1")
    store.add(exam, None)
    store.add(first("EX-2", (patient(body=b'{"born":1970}'), own("EX-2", "a"))), None)
    store.add(following(exam, (patient(version=1), own("EX-1", "a"))), 1)
    assert [row.version for row in store.history("Patient", "p").rows] == [2, 1]
    assert store.resources(exam.id)[0].version == 1


@pytest.mark.parametrize(
    "parts",
    [
        (own("EX-1", "a", b'{"n":2}'),),
        (own("EX-1", "a", b'{"n":2}', version=3),),
        (patient(version=2),),
        (own("EX-1", "a"), own("EX-1", "a")),
    ],
    ids=["changed", "left out", "shared with a new number", "twice"],
)
def test_a_contradiction_is_refused_and_changes_nothing(store, parts):
    exam = first()
    store.add(exam, None)
    with pytest.raises(Contradiction):
        store.add(following(exam, (*parts, own("EX-1", "new"))), 1)
    assert len(store.versions(exam.id)) == 1
    assert store.read("Observation", "EX-1-new") is None
    assert len(store.audit()) == 1


def test_a_version_that_does_not_follow_is_refused(store):
    exam = first()
    with pytest.raises(Contradiction):
        store.add(replace(exam, version=2), None)
    with pytest.raises(Contradiction):
        store.add(exam, 1)
    with pytest.raises(Contradiction):
        store.add(first(resources=(own("EX-1", "a", version=2),)), None)


def test_an_identifier_under_another_id_is_refused(store):
    store.add(first(), None)
    with pytest.raises(Contradiction):
        store.add(first(id="id-other", content=b"{}"), None)
    with pytest.raises(Contradiction):
        store.add(first("EX-2", id="id-EX-1"), None)
    assert len(store.audit()) == 1


def test_a_resource_of_two_exams_is_never_guessed(store):
    store.add(first("EX-1"), None)
    store.add(first("EX-2", (own("EX-1", "a", b'{"n":2}'), own("EX-2", "b"))), None)
    with pytest.raises(Contradiction):
        store.read("Observation", "EX-1-a")
    with pytest.raises(Contradiction):
        store.history("Observation", "EX-1-a")
    assert store.read("Observation", "EX-2-b").version == 1
    assert len(store.resources("id-EX-1")) == 3


def test_every_attempt_leaves_one_audit_row(store):
    draft = first(status=ExamStatus.PRELIMINARY)
    second = following(draft, (own("EX-1", "a"),), status=ExamStatus.PRELIMINARY)
    closed = following(second, (own("EX-1", "a"),), status=ExamStatus.FINAL)
    fourth = following(closed, (own("EX-1", "a"),), status=ExamStatus.CORRECTED)
    gone = following(fourth, (own("EX-1", "a"),), status=ExamStatus.ENTERED_IN_ERROR)
    store.add(draft, None, Occasion("r-1"))
    store.add(draft, None, Occasion("r-2"))
    store.add(first(content=b"{}"), None)
    for version in (second, closed, fourth, gone):
        store.add(version, version.version - 1)
    store.add(second, 1)
    store.add(following(first("EX-2")), 1)
    rows = store.audit()
    assert [(row.entry.action, row.entry.outcome, row.entry.version) for row in rows] == [
        ("create", "created", 1),
        ("create", "same", 1),
        ("create", "conflict", 1),
        ("correct", "created", 2),
        ("close", "created", 3),
        ("correct", "created", 4),
        ("withdraw", "created", 5),
        ("correct", "stale", 5),
        ("correct", "missing", 0),
    ]
    assert [row.entry.request for row in rows[:3]] == ["r-1", "r-2", ""]
    told = rows[0].entry
    assert (told.at, told.exam, told.digest) == (draft.recorded, draft.id, draft.digest)
    assert store.audit(after=rows[3].number, count=2) == rows[4:6]


TWO = ("elbow-extension/1.0", "wound/2.1")


def test_every_audit_row_names_the_prompts_of_the_version_it_was_answered_with(store):
    draft = first(status=ExamStatus.PRELIMINARY, shown=TWO)
    closed = following(draft, (own("EX-1", "a"),), status=ExamStatus.FINAL, shown=TWO[:1])
    third = following(closed, (own("EX-1", "a"),), shown=())
    gone = following(third, (own("EX-1", "a"),), status=ExamStatus.ENTERED_IN_ERROR, shown=TWO)
    for version, expected in ((draft, None), (closed, 1), (third, 2), (gone, 3)):
        store.add(version, expected)
    assert [(row.entry.action, row.entry.shown) for row in store.audit()] == [
        ("create", TWO),
        ("close", TWO[:1]),
        ("correct", ()),
        ("withdraw", TWO),
    ]
    assert [one.shown for one in store.versions(draft.id)] == [TWO, TWO[:1], (), TWO]
    assert store.exam(draft.id).shown == store.exam_by_identifier(SYSTEM, "EX-1").shown == TWO


def test_a_repeat_shows_what_is_stored_and_a_refusal_shows_nothing(store):
    stored = first(shown=TWO[:1])
    store.add(stored, None)
    # the tables have moved on: coded now, the same content would show something else
    store.add(first(shown=TWO), None)
    store.add(first(content=b"{}", shown=TWO), None)
    store.add(following(following(stored), shown=TWO), 2)
    gone = following(stored, (), status=ExamStatus.ENTERED_IN_ERROR)
    store.add(gone, 1)
    store.add(first(shown=TWO), None)
    assert [(row.entry.outcome, row.entry.shown) for row in store.audit()] == [
        ("created", TWO[:1]),
        ("same", TWO[:1]),
        ("conflict", ()),
        ("stale", ()),
        ("created", TWO[:1]),
        ("same", ()),
    ]
