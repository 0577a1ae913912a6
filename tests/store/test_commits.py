"""Commits shared by several threads; one that fails takes nobody with it."""

from __future__ import annotations

import sqlite3
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing

import pytest
from tests.store.exams import SYSTEM, first, following, large, opened, own, patient, wanted

from brachium.store.commits import SharedCommits
from brachium.store.connections import Readers, writer
from brachium.store.port import Contradiction, Outcome, StoreUnavailable


def together(tasks):
    """Run all tasks at the same moment and return what each returned or raised."""
    start = threading.Barrier(len(tasks))

    def one(task):
        start.wait()
        try:
            return task()
        except Exception as error:  # noqa: BLE001
            return error

    with ThreadPoolExecutor(len(tasks)) as threads:
        return list(threads.map(one, tasks))


@pytest.fixture
def commits(database):
    db = writer(database)
    db.execute("CREATE TABLE kept (n INTEGER PRIMARY KEY) STRICT")
    shared = SharedCommits(db)
    yield shared
    shared.close()


@pytest.fixture
def batch(commits):
    """Run tasks in one batch: the first holds the turn until the others wait."""

    def run(tasks):
        def hold(db):
            db.execute("SELECT 1")
            busy.set()
            assert enough.wait(20)

        busy, enough = threading.Event(), threading.Event()
        with ThreadPoolExecutor(len(tasks) + 1) as threads:
            holder = threads.submit(commits.run, hold)
            assert busy.wait(20)
            found = [threads.submit(commits.run, task) for task in tasks]
            while len(commits._waiting) < len(tasks):
                threading.Event().wait(0.001)
            enough.set()
            holder.result()
            return [one.exception() or one.result() for one in found]

    return run


def keep(number):
    def task(db):
        db.execute("INSERT INTO kept VALUES (?)", (number,))
        return number

    return task


def kept(database):
    with closing(sqlite3.connect(database)) as db:
        return {row[0] for row in db.execute("SELECT n FROM kept")}


def test_those_who_wait_share_one_commit(commits, batch, database):
    begun = []
    commits._db.set_trace_callback(begun.append)
    assert batch([keep(n) for n in range(12)]) == list(range(12))
    assert begun.count("COMMIT") == 2
    assert kept(database) == set(range(12))


def test_one_that_fails_undoes_its_own_work_only(batch, database):
    def broken(db):
        keep(100)(db)
        raise LookupError("mine")

    def doubled(db):
        keep(101)(db)
        keep(0)(db)

    found = batch([keep(0), broken, keep(1), doubled, keep(2)])
    assert [type(one) for one in found] == [int, LookupError, int, Contradiction, int]
    assert kept(database) == {0, 1, 2}


def test_a_lost_transaction_is_told_to_everybody_in_it(batch, database):
    def lost(db):
        db.execute("ROLLBACK")
        raise sqlite3.OperationalError("disk I/O error")

    found = batch([keep(0), lost, keep(1)])
    assert [type(one) for one in found] == [StoreUnavailable] * 3
    assert kept(database) == set()


def test_a_commit_that_fails_is_told_and_leaves_the_store_usable(commits, database):
    with closing(sqlite3.connect(database, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        commits._db.execute("PRAGMA busy_timeout = 10")
        with pytest.raises(StoreUnavailable):
            commits.run(keep(0))
        other.execute("ROLLBACK")
    assert commits.run(keep(1)) == 1
    assert kept(database) == {1}


def test_an_interruption_leaves_no_open_transaction(commits, database):
    def interrupted(db):
        keep(0)(db)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        commits.run(interrupted)
    assert commits.run(keep(1)) == 1
    assert kept(database) == {1}


def test_exm_05_fifty_at_once_create_one(store):
    exam = large("EX-1", 10)
    found = together([lambda: store.add(exam, None)] * 50)
    assert [one.outcome for one in found].count(Outcome.CREATED) == 1
    assert [one.outcome for one in found].count(Outcome.SAME) == 49
    assert len({one.exam for one in found}) == 1
    assert store.search(wanted("Observation", ("identifier", f"{SYSTEM}|EX-1/0")), 9).total == 1
    assert len(store.audit()) == 50


def test_exm_05_two_stores_on_one_file_create_one(store, database):
    other = opened(database)
    exam = large("EX-1", 10)
    found = together([lambda: store.add(exam, None), lambda: other.add(exam, None)] * 10)
    assert [one.outcome for one in found].count(Outcome.CREATED) == 1
    assert other.resources(exam.id) == store.resources(exam.id)
    other.close()


def test_one_of_many_corrections_wins(store):
    exam = first()
    store.add(exam, None)
    rivals = [
        following(exam, (own("EX-1", "a", b'{"r":%d}' % n, 2),), content=b"%d" % n)
        for n in range(20)
    ]
    found = together([lambda one=one: store.add(one, 1) for one in rivals])
    assert [one.outcome for one in found].count(Outcome.CREATED) == 1
    assert [one.outcome for one in found].count(Outcome.STALE) == 19
    assert len(store.history("Observation", "EX-1-a").rows) == 2


def test_different_exams_at_once_are_all_complete_and_share_the_patient(store):
    exams = [first(f"EX-{n}", (patient(), own(f"EX-{n}", "a"))) for n in range(40)]
    bad = first("EX-bad", (own("EX-bad", "a", version=7),))
    tasks = [lambda one=one: store.add(one, None) for one in exams]
    found = together([*tasks, lambda: store.add(bad, None)])
    assert isinstance(found.pop(), Contradiction)
    assert {one.outcome for one in found} == {Outcome.CREATED}
    for exam in exams:
        assert [row.id for row in store.resources(exam.id)] == ["p", f"{exam.value}-a"]
    assert len(store.history("Patient", "p").rows) == 1


def test_readers_see_whole_exams_beside_the_writer(store):
    exams = [large(f"EX-{n}", 20) for n in range(30)]
    seen, stop = [], threading.Event()

    def read():
        while not stop.is_set():
            seen.extend(len(store.resources(exam.id)) for exam in exams if store.exam(exam.id))
            total = store.search(wanted("Observation", ("code", "c|3")), 1).total
            assert total <= len(exams)

    with ThreadPoolExecutor(3) as threads:
        reading = [threads.submit(read) for _ in range(2)]
        for exam in exams:
            store.add(exam, None)
        stop.set()
        for one in reading:
            one.result()
    assert set(seen) <= {21}
    assert store.search(wanted("Observation", ("code", "c|3")), 1).total == len(exams)


def test_ready_writes_and_says_when_it_cannot(store, database):
    assert store.ready()
    with closing(sqlite3.connect(database, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        started = time.monotonic()
        assert not store.ready()
        assert time.monotonic() - started < 5  # a write waits for 10 s
        other.execute("ROLLBACK")
    assert store.ready()
    assert store._commits._db.execute("PRAGMA busy_timeout").fetchone() == (10_000,)


def test_a_full_disk_is_told_and_hurts_nothing(store):
    stored = store.add(first(), None).exam
    pages = store._commits._db.execute("PRAGMA page_count").fetchone()[0]
    store._commits._db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreUnavailable):
        store.add(large("EX-2", 200), None)
    assert store.exam("id-EX-2") is None
    assert store.exam(stored.id) == stored
    store._commits._db.execute("PRAGMA max_page_count = 1000000")
    assert store.add(large("EX-2", 200), None).outcome is Outcome.CREATED


def test_a_closed_store_says_so(database):
    store = opened(database)
    store.close()
    assert not store.ready()
    with pytest.raises(StoreUnavailable):
        store.add(first(), None)
    with pytest.raises(StoreUnavailable):
        store.exam("id-EX-1")


def test_a_lent_reader_cannot_write_and_is_closed_when_it_comes_back_late(database):
    opened(database).close()
    readers = Readers(database)
    with pytest.raises(StoreUnavailable), readers.lent() as db:
        db.execute("UPDATE readiness SET asked = 9")
    with readers.lent() as db:
        readers.close()
    with pytest.raises(sqlite3.ProgrammingError):
        db.execute("SELECT 1")
