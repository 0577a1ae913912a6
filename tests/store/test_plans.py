"""How searches reach their rows: by indexes, and not past everything that is stored."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from decimal import Decimal

import pytest
from tests.store import many
from tests.store.exams import at, opened

from brachium.store import histories, searching, weighing
from brachium.store.comparing import teach
from brachium.store.criteria import (
    Amount,
    Code,
    Criterion,
    Is,
    NoSystem,
    Order,
    Period,
    Present,
    Search,
    System,
)
from brachium.store.leads import of_value

EXAMS = 60


def about(parameter, *matches, negated=False):
    return Criterion((parameter,), matches, negated)


SECOND = Period("eq", at(7), at(8))
CRITERIA = {
    "id": about("_id", Is("EX-7-3")),
    "value": about("code", Is("c|3")),
    "any system": about("code", Code("3")),
    "no system": about("code", NoSystem("3")),
    "system": about("code", System("c")),
    "not": about("code", Is("c|3"), negated=True),
    "date": about("date", SECOND),
    "later": about("date", Period("gt", at(50), at(51))),
    "stored": about("_lastUpdated", SECOND),
    "stored since": about("_lastUpdated", Period("ge", at(50), at(51))),
    "amount": about("value-quantity", Amount("gt", Decimal(1), Decimal(1), "", "")),
    "present": about("date", Present(present=True)),
    "either": about("status", Is("s|corrected"), Is("s|amended")),
    "two": Criterion(("patient", "subject"), (Is("Patient/p7"),)),
}
ORDERS = {
    "none": (),
    "id": (Order("_id"),),
    "time": (Order("_lastUpdated", descending=True),),
    "date": (Order("date", descending=True),),
    "two keys": (Order("date"), Order("_id")),
}


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    path = tmp_path_factory.mktemp("plans") / "s.sqlite3"
    store = opened(path)
    many.fill(store, EXAMS * many.PER_EXAM)
    # whoever asks sees complete indexes
    store.read("Observation", "EX-0-0")
    store.close()
    return path


@pytest.fixture
def db(database):
    with closing(sqlite3.connect(database)) as connection:
        teach(connection)
        yield connection


def plans(db, task):
    """What SQLite says it will do for every query of a task."""
    queries = []
    db.set_trace_callback(queries.append)
    task()
    db.set_trace_callback(None)
    assert queries
    return [row[3] for one in queries for row in db.execute(f"EXPLAIN QUERY PLAN {one}")]


def steps(db, task):
    """How many steps SQLite's machine takes."""
    taken = [0]

    def count():
        taken[0] += 1
        return 0

    db.set_progress_handler(count, 1)
    task()
    db.set_progress_handler(None, 0)
    return taken[0]


def scans(told):
    """Tables that are read from end to end; a walk along an order stops where its page does."""
    tables = ("resource", "resource_version", "exam_version", "search", "ordered", "resource_id")
    walk = "SCAN exam_version USING COVERING INDEX by_time"
    return [
        one for one in told if one.startswith("SCAN") and one.split()[1] in tables and one != walk
    ]


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("criterion", CRITERIA)
def test_src_13_no_search_reads_a_table_from_end_to_end(db, criterion, order):
    search = Search("Observation", (CRITERIA[criterion],), ORDERS[order])

    def ask():
        page = searching.found(db, search, 5, None, None, None, total=True)
        searching.found(db, search, 5, page.at, page.last, None, total=False)

    assert scans(plans(db, ask)) == []


def test_the_plans_of_a_whole_table_are_recognised(db):
    told = plans(db, lambda: db.execute("SELECT count(text) FROM resource_version").fetchall())
    assert scans(told) == ["SCAN resource_version"]


@pytest.mark.parametrize(
    "criterion", ["id", "date", "later", "stored", "stored since", "amount", "either", "two"]
)
def test_src_07_what_leads_to_few_looks_at_few(db, criterion):
    """Totals included; to look at every Observation takes more than ten times as many steps."""
    search = Search("Observation", (CRITERIA[criterion],))
    few = steps(db, lambda: searching.found(db, search, 5, None, None, None, total=True))
    everything = Search("Observation", (CRITERIA["not"],))
    most = steps(db, lambda: searching.found(db, everything, 5, None, None, None, total=True))
    assert most > EXAMS * many.PER_EXAM
    # the Observations of ten exams of sixty are no few
    assert few < most / (3 if criterion in ("later", "stored since") else 10)


@pytest.mark.parametrize("kind", ["Observation", None])
def test_ver_06_a_history_since_looks_at_what_came_since(db, kind):
    asked = (kind, None, at(EXAMS - 1), None, 10**6, None, None)
    since = steps(db, lambda: histories.told(db, *asked))
    whole = steps(db, lambda: histories.told(db, kind, None, None, None, 10**6, None, None))
    assert since < whole / 10


def test_ver_06_a_later_page_of_a_history_need_not_be_counted(db):
    page = histories.told(db, "Observation", None, None, None, 5, None, None)
    asked = ("Observation", None, None, None, 5, page.at, page.last)
    counted = steps(db, lambda: histories.told(db, *asked))
    uncounted = steps(db, lambda: histories.told(db, *asked, total=False))
    assert uncounted < counted / 10
    assert histories.told(db, *asked, total=False).total is None


def test_src_13_a_value_in_many_runs_is_taken_for_as_many_rows_as_it_has(db, monkeypatch):
    monkeypatch.setattr(weighing, "_PROBED", 10)
    held = EXAMS * many.PER_EXAM / many.CODES
    assert 0.8 * held < weighing.in_runs(db, of_value("Observation", "code", "c|3")) < 1.2 * held
    assert weighing.in_runs(db, of_value("Observation", "code", "c|none")) == 0


@pytest.mark.parametrize(("parameter", "order"), [("_lastUpdated", "time"), ("date", "date")])
def test_src_15_a_walk_begins_where_the_period_asked_for_begins(db, parameter, order):
    """More rows than are worth sorting, of which the last in the order are asked for."""
    first = Period("lt" if order == "time" else "sa", at(15), at(16))
    asked = Search("Observation", (about(parameter, first),), ORDERS[order])
    everything = Search("Observation", (), ORDERS[order])
    wanted_steps = steps(db, lambda: searching.found(db, asked, 5, None, None, None, total=False))
    plain = steps(db, lambda: searching.found(db, everything, 5, None, None, None, total=False))
    assert wanted_steps < 20 * plain


@pytest.mark.parametrize(
    ("prefix", "index"),
    [
        ("eq", "ordered_by_value (type=? AND parameter=? AND value>? AND value<?)"),
        ("lt", "ordered_by_value (type=? AND parameter=? AND value>? AND value<?)"),
        ("gt", "ordered_by_end (type=? AND parameter=? AND <expr>>? AND <expr><?)"),
        ("ge", "ordered_by_end (type=? AND parameter=? AND <expr>>? AND <expr><?)"),
    ],
)
def test_src_07_dates_are_looked_for_where_they_begin_or_end(db, prefix, index):
    second = 5 if prefix == "lt" else 55
    period = about("date", Period(prefix, at(second), at(second + 1)))
    search = Search("Observation", (period,))
    told = plans(db, lambda: searching.found(db, search, 5, None, None, None, total=True))
    assert any(one.endswith(f"INDEX {index}") for one in told)
