"""Walking page by page while exams come, change and go: everything of the start once, as it was."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.store import many
from tests.store.exams import at, first, following, marked, opened, wanted

from brachium.records import ExamStatus, Resource
from brachium.store import histories, searching
from brachium.store.comparing import teach
from brachium.store.criteria import Criterion, Is, Order, Search

EVERYTHING = Search("Observation")
BY_DATE = Search("Observation", (), (Order("date", descending=True),))
OF_ONE = Search("Observation", (Criterion(("patient",), (Is("Patient/p7"),)),))


def part(name, number, version=1):
    day = f"2026-03-{number % 28 + 1:02}T00:00:00.000Z"
    rows = [("date", f"{day}/{day[:-2]}1Z"), ("patient", "Patient/p7")]
    body = marked(f'{{"v":{version}}}'.encode(), rows)
    return Resource("Observation", f"{name}-{number}", body, version)


STEPS = st.lists(st.sampled_from(["post", "correct 0", "correct 1", "withdraw 2"]), max_size=8)


@settings(max_examples=40, deadline=None)
@given(STEPS, st.integers(1, 5), st.sampled_from([EVERYTHING, BY_DATE, OF_ONE]), st.booleans())
def test_src_13_a_walk_sees_what_was_there_when_it_began(
    tmp_path_factory, steps, count, search, history
):
    store = opened(tmp_path_factory.mktemp("walk") / "s.sqlite3")
    held = [first(f"EX-{n}", tuple(part(f"EX-{n}", k) for k in range(4))) for n in range(3)]
    for one in held:
        store.add(one, None)

    def asked(at=None, after=None):
        if history:
            return store.history("Observation", count=count, at=at, after=after)
        return store.search(search, count, at, after)

    page = asked()
    seen = [(row.id, row.version) for row in page.rows]
    moves = list(steps)
    while page.has_next:
        if moves:
            change(store, held, moves.pop(0))
        page = asked(page.at, page.last)
        seen += [(row.id, row.version) for row in page.rows]
    assert sorted(seen) == sorted((f"EX-{n}-{k}", 1) for n in range(3) for k in range(4))
    store.close()


def change(store, held, step):
    word, _, number = step.partition(" ")
    if word == "post":
        name = f"NEW-{len(held)}"
        held.append(first(name, (part(name, 0),)))
        store.add(held[-1], None)
        return
    before = held[int(number)]
    name = before.value
    resources = tuple(part(name, k, before.version + 1) for k in range(4))
    held[int(number)] = following(before, resources, recorded=at(before.version + 100))
    store.add(held[int(number)], before.version)


def test_ver_06_history_has_every_version_newest_first_since_and_at(store):
    one = first("EX-1", (part("EX-1", 0), part("EX-1", 1)), recorded=at(0))
    two = following(one, (part("EX-1", 0, 2), part("EX-1", 1)), recorded=at(10))
    three = following(two, (part("EX-1", 0, 3), part("EX-1", 1)), recorded=at(20))
    for exam, expected in ((one, None), (two, 1), (three, 2)):
        store.add(exam, expected)

    def told(**asked):
        return [(row.id[-1], row.version) for row in store.history("Observation", **asked).rows]

    assert told() == [("0", 3), ("0", 2), ("1", 1), ("0", 1)]
    assert told(since=at(10)) == [("0", 3), ("0", 2)]
    assert told(period=(at(11), at(12))) == [("0", 2), ("1", 1)]
    assert told(period=(at(10), at(21))) == [("0", 3), ("0", 2), ("1", 1)]
    assert told(resource_id="EX-1-0") == [("0", 3), ("0", 2), ("0", 1)]
    assert store.history(None).total == 4
    assert store.history("Patient").total == 0


class Counted:
    """Counts the steps of SQLite's virtual machine, in hundreds."""

    def __init__(self, db):
        self.steps = 0
        db.set_progress_handler(self.step, 100)

    def step(self):
        self.steps += 1
        return 0


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    database = tmp_path_factory.mktemp("many") / "s.sqlite3"
    store = opened(database)
    many.fill(store, 100_000)
    store.search(EVERYTHING, 1)
    yield store, database
    store.close()


@pytest.mark.parametrize(
    "search",
    [
        EVERYTHING,
        BY_DATE,
        Search("Observation", (), (Order("_lastUpdated"),)),
        Search("Observation", (), (Order("_id"),)),
        Search("Observation", (), (Order("date"), Order("_id"))),
        wanted("Observation", ("category", "c|exam")),
        wanted("Observation", ("code", "c|3"), ("category", "c|exam")),
    ],
)
def test_src_13_a_late_page_takes_no_more_steps_than_an_early_one(full, search):
    _, database = full
    with closing(sqlite3.connect(database)) as db:
        teach(db)
        counted = Counted(db)
        page = searching.found(db, search, 500, None, None, None, total=False)
        steps = []
        while page.has_next and len(steps) < 180:
            counted.steps = 0
            page = searching.found(db, search, 500, page.at, page.last, None, total=False)
            steps.append(counted.steps)
    early, late = sum(steps[:5]) / 5, sum(steps[-6:-1]) / 5
    assert len(steps) > 5
    assert late < 1.5 * early + 20


def test_ver_06_a_late_page_of_a_history_takes_no_more_steps(full):
    _, database = full
    with closing(sqlite3.connect(database)) as db:
        counted = Counted(db)
        page = histories.told(db, "Observation", None, None, None, 500, None, None)
        steps = []
        while page.has_next and len(steps) < 60:
            counted.steps = 0
            page = histories.told(db, "Observation", None, None, None, 500, page.at, page.last)
            steps.append(counted.steps)
    assert sum(steps[-5:]) < 1.5 * sum(steps[:5]) + 100


def test_src_13_a_hundred_thousand_are_each_seen_once_beside_writers(full):
    store, _ = full
    done = threading.Event()

    def write():
        for number in range(10**6):
            if done.is_set():
                return
            new = many.exam(10_000 + number, size=20)
            store.add(new, None)
            old = many.exam(number)
            second = following(old, many.exam(number, 2).resources, recorded=at(number))
            store.add(second, 1)
            withdrawn = ExamStatus.ENTERED_IN_ERROR
            third = following(second, many.exam(number, 3).resources, status=withdrawn)
            store.add(third, 2)

    writer = threading.Thread(target=write)
    page = store.search(EVERYTHING, 1000)
    writer.start()
    try:
        seen = [(row.id, row.version) for row in page.rows]
        while page.has_next:
            page = store.search(EVERYTHING, 1000, page.at, page.last, total=False)
            seen += [(row.id, row.version) for row in page.rows]
    finally:
        done.set()
        writer.join()
    assert len(seen) == len(set(seen)) == 100_000
    assert {version for _, version in seen} == {1}
    assert store.search(EVERYTHING, 1).total > 100_000
