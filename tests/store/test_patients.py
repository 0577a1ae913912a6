"""Every exam of one patient, by one query over the index."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from tests.store.exams import first, following, marked, own, patient

from brachium.records import ExamStatus, Resource
from brachium.store import quiet, reading


def report(exam, person="p", version=1):
    body = marked(b'{"n":1}', [("patient", f"Patient/{person}"), ("code", "c|report")])
    return Resource("DiagnosticReport", f"{exam}-report", body, version)


def examined(name, person="p", **fields):
    """An exam with a report and some findings about the same patient."""
    findings = [own(name, str(n), patient=f"Patient/{person}") for n in range(4)]
    return first(name, (patient(person), report(name, person), *findings), **fields)


def corrected(before, version=2, **fields):
    name = before.value
    person = before.resources[0].id
    resources = (*before.resources[:1], report(name, person, version), *before.resources[2:])
    return following(before, resources, **fields)


@pytest.fixture
def filled(store):
    for name, person in (("EX-1", "p"), ("EX-2", "q"), ("EX-3", "p")):
        store.add(examined(name, person), None)
    return store


def held(store, person):
    return [(one.value, one.version, one.status.value) for one in store.exams_of(person)]


def test_exams_of_a_patient_are_those_of_no_other(filled):
    assert held(filled, "p") == [("EX-1", 1, "final"), ("EX-3", 1, "final")]
    assert held(filled, "q") == [("EX-2", 1, "final")]
    assert filled.exams_of("nobody") == ()
    assert filled.exams_of("p' OR 1=1 --") == ()
    assert filled.exams_of("p")[0] == filled.exam("id-EX-1")


def test_cor_01_only_the_newest_version_of_an_exam_is_given(filled):
    second = corrected(examined("EX-1"))
    filled.add(second, 1)
    third = corrected(second, 3, status=ExamStatus.ENTERED_IN_ERROR)
    filled.add(third, 2)
    assert held(filled, "p") == [("EX-3", 1, "final"), ("EX-1", 3, "entered-in-error")]
    assert filled.exams_of("p")[1].content == third.content


def test_exams_are_found_although_the_index_waits(database, store, monkeypatch):
    monkeypatch.setattr(quiet, "PAUSE", 600)
    store.add(examined("EX-9"), None)
    with closing(sqlite3.connect(database)) as db:
        assert db.execute("SELECT count(*) FROM waiting").fetchone()[0] > 0
    assert held(store, "p") == [("EX-9", 1, "final")]


def steps(database, person):
    """How many steps of its machine SQLite takes for the exams of one patient."""
    taken = [0]

    def count() -> int:
        taken[0] += 1
        return 0

    with closing(sqlite3.connect(database)) as db:
        statements = []
        db.set_trace_callback(statements.append)
        db.set_progress_handler(count, 1)
        found = reading.exams_of(db, person)
    return len(found), len(statements), taken[0]


def test_the_work_grows_with_the_exams_of_the_patient_alone(database, store):
    for number in range(100):
        store.add(examined(f"A-{number}", "p"), None)
    store.exams_of("p")
    exams, statements, before = steps(database, "p")
    assert (exams, statements) == (100, 1)
    # others come in: nothing changes
    for number in range(100):
        store.add(examined(f"B-{number}", "q"), None)
    store.exams_of("q")
    assert steps(database, "p") == (100, 1, before)
    for number in range(100, 400):
        store.add(examined(f"A-{number}", "p"), None)
    store.exams_of("p")
    exams, statements, after = steps(database, "p")
    assert (exams, statements) == (400, 1)
    assert 3.5 * before < after < 4.5 * before
