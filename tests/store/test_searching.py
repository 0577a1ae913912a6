"""Reading single resources and finding them by search values."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing

import pytest
from tests.store.exams import SYSTEM, at, first, following, marked, opened, own, patient, wanted

from brachium.records import Resource
from brachium.store import index, quiet

CODES = ["red", "blue", "red", "red", "blue", "red"]


def findings(name, codes=CODES):
    parts = [
        own(name, str(n), code=f"c|{code}", patient="Patient/p") for n, code in enumerate(codes)
    ]
    return first(name, (patient(), *parts))


def ids(page):
    return [row.id for row in page.rows]


@pytest.fixture(params=["on demand", "in lots", "in quiet time"])
def filled(request, database, monkeypatch):
    """A store with three exams, whose indexes are filled in one of the three ways."""
    monkeypatch.setattr(quiet, "PAUSE", 0 if request.param == "in quiet time" else 600)
    if request.param == "in lots":
        monkeypatch.setattr(index, "MOST", 2)
        monkeypatch.setattr(index, "LOT", 1)
    store = opened(database)
    for name in ("EX-1", "EX-2", "EX-3"):
        store.add(findings(name), None)
    yield store
    store.close()


def test_ver_04_read_gives_the_newest_or_the_version_asked_for(filled):
    body = b'{"n":2}'
    filled.add(following(findings("EX-1"), (own("EX-1", "0", body, 2),)), 1)
    assert filled.read("Observation", "EX-1-0").version == 2
    assert filled.read("Observation", "EX-1-0").text == own("EX-1", "0", body).text(2, at(1))
    assert filled.read("Observation", "EX-1-0", 1).version == 1
    assert filled.read("Observation", "EX-1-0", 3) is None
    assert filled.read("Observation", "nothing") is None
    assert filled.read("Patient", "EX-1-0") is None
    assert filled.history("Patient", "EX-1-0").rows == ()


@pytest.mark.parametrize(
    ("criteria", "found"),
    [
        ([("_id", "EX-2-1")], ["EX-2-1"]),
        ([("_id", "EX-2-1"), ("code", "c|blue")], ["EX-2-1"]),
        ([("_id", "EX-2-1"), ("code", "c|red")], []),
        ([("_id", "EX-2-1"), ("_id", "EX-2-2")], []),
        ([("identifier", f"{SYSTEM}|EX-3/5")], ["EX-3-5"]),
        ([("identifier", f"{SYSTEM}|EX-3/5"), ("code", "c|red")], ["EX-3-5"]),
        ([("code", "c|red"), ("identifier", f"{SYSTEM}|EX-3/4")], []),
        ([("code", "c|blue")], [f"EX-{n}-{k}" for n in (1, 2, 3) for k in (1, 4)]),
        ([("patient", "Patient/p"), ("code", "c|blue"), ("_id", "EX-1-4")], ["EX-1-4"]),
        ([("code", "c|green")], []),
        ([("nothing", "c|red")], []),
        ([("code", "' OR 1=1 --")], []),
    ],
)
def test_every_criterion_has_to_hold(filled, criteria, found):
    page = filled.search(wanted("Observation", *criteria), 50)
    assert (ids(page), page.total, page.has_next) == (found, len(found), False)


def test_no_criterion_finds_everything_of_the_type(filled):
    assert filled.search(wanted("Observation"), 50).total == 18
    assert ids(filled.search(wanted("Patient"), 50)) == ["p"]
    assert filled.search(wanted("Patient", ("code", "c|red")), 50).total == 0


@pytest.mark.parametrize("count", [1, 2, 5, 6, 11, 12, 13])
def test_pages_lead_through_everything_once(filled, count):
    red = wanted("Observation", ("code", "c|red"))
    page = filled.search(red, count)
    seen, pages = ids(page), 1
    while page.has_next:
        assert len(page.rows) == count
        page = filled.search(red, count, page.at, page.last)
        assert (page.total, page.has_previous) == (12, True)
        seen += ids(page)
        pages += 1
    assert seen == [f"EX-{n}-{k}" for n in (1, 2, 3) for k in (0, 2, 3, 5)]
    assert pages == -(-12 // count)


def test_a_count_of_nothing_gives_the_total(filled):
    page = filled.search(wanted("Observation", ("code", "c|red")), 0)
    assert (page.total, page.rows) == (12, ())


@pytest.mark.parametrize("after", ["abc", "9" * 30, "-1", "1.5", "٣", ""])
def test_an_invented_place_lies_behind_the_end(filled, after):
    page = filled.search(wanted("Observation", ("code", "c|red")), 5, after=after)
    assert (page.total, page.rows, page.has_next) == (12, (), False)


def test_only_the_newest_version_is_found(filled):
    blue = own("EX-1", "0", b'{"n":2}', 2, code="c|blue")
    filled.add(following(findings("EX-1"), (patient(), blue)), 1)
    assert "EX-1-0" not in ids(filled.search(wanted("Observation", ("code", "c|red")), 50))
    page = filled.search(wanted("Observation", ("code", "c|blue")), 50)
    assert page.total == 7
    assert page.rows[-1].version == 2
    assert filled.search(wanted("Observation"), 50).total == 18


def test_what_is_in_no_newest_exam_version_is_found_still(filled):
    filled.add(following(findings("EX-1"), (patient(),)), 1)
    assert filled.search(wanted("Observation", ("_id", "EX-1-3")), 50).total == 1


def test_a_value_given_twice_is_one_match(store):
    twice = marked(b"{}", [("code", "c|x"), ("code", "c|x"), ("code", "c|y")])
    parts = [Resource("Observation", f"o-{n}", twice, 1) for n in range(3)]
    store.add(first(resources=tuple(parts)), None)
    assert store.search(wanted("Observation", ("code", "c|x")), 9).total == 3


def test_a_filled_index_survives_opening_again(database):
    store = opened(database)
    store.add(findings("EX-1"), None)
    store.close()
    store = opened(database)
    assert store.search(wanted("Observation", ("code", "c|blue")), 9).total == 2
    store.add(findings("EX-2"), None)
    store.close()
    store = opened(database)
    assert store.search(wanted("Observation", ("code", "c|blue")), 9).total == 4
    store.close()


def waiting(database):
    with closing(sqlite3.connect(database)) as db:
        return db.execute("SELECT count(*) FROM waiting").fetchone()[0]


def test_the_indexes_are_filled_when_it_is_quiet(database, monkeypatch):
    monkeypatch.setattr(quiet, "PAUSE", 600)
    store = opened(database)
    for number in range(20):
        store.add(findings(f"EX-{number}"), None)
    store.close()
    assert waiting(database) == 21
    monkeypatch.setattr(quiet, "PAUSE", 0.01)
    store = opened(database)
    patience = time.monotonic() + 20
    while waiting(database) and time.monotonic() < patience:
        time.sleep(0.01)
    assert waiting(database) == 0
    assert store.search(wanted("Observation", ("code", "c|blue")), 9).total == 40
    store.close()


def test_never_more_than_the_most_wait(database, monkeypatch):
    monkeypatch.setattr(quiet, "PAUSE", 600)
    monkeypatch.setattr(index, "MOST", 10)
    monkeypatch.setattr(index, "LOT", 4)
    store = opened(database)
    seen = set()
    for number in range(30):
        store.add(findings(f"EX-{number}"), None)
        seen.add(waiting(database))
    assert max(seen) == 9
    store.close()


def test_src_16_many_are_read_at_once_newest_versions_in_the_order_of_the_names(filled):
    filled.add(following(findings("EX-1"), (own("EX-1", "0", b'{"n":2}', 2),)), 1)
    names = [("Observation", "EX-1-0"), ("Patient", "p"), ("Observation", "EX-3-5")]
    rows = filled.read_many(names)
    assert [(row.type, row.id) for row in rows] == names
    assert [row.version for row in rows] == [2, 1, 1]
    assert rows[0] == filled.read("Observation", "EX-1-0")
    # what is not there is left out, what is asked for twice comes once
    asked = [names[2], ("Patient", "EX-1-0"), ("Observation", "' OR 1=1 --"), names[2]]
    assert [row.id for row in filled.read_many(asked)] == ["EX-3-5"]
    assert filled.read_many([]) == ()


@pytest.mark.parametrize("number", [399, 400, 401, 1000])
def test_src_16_no_resource_is_lost_between_the_queries_of_many(store, number):
    names = [str(n) for n in range(number)]
    store.add(first(resources=tuple(own("EX", name) for name in names)), None)
    asked = [("Observation", f"EX-{name}") for name in reversed(names)]
    assert [(row.type, row.id) for row in store.read_many(asked)] == asked
