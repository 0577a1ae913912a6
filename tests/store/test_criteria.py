"""Every kind of criterion, compared with the plain way of saying it over small random stores."""

from __future__ import annotations

import tempfile
from decimal import Decimal
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.store.exams import at, first, following, marked, opened

from brachium.records import Resource
from brachium.store import leading
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
from brachium.store.ranges import VALUE, range_of

DAYS = [f"2026-03-{day:02}T00:00:00.000Z" for day in range(1, 6)]
# of one day and of several
DATES = [f"{low}/{high}" for low, high in combinations(DAYS, 2)]
TOKENS = ["s|a", "s|b", "t|a", "|a", "s|x|y"]
AMOUNTS = ["1|u|m", "1.5|u|m", "2|u|kg", "10|v|m"]
ROWS = st.tuples(
    st.lists(st.sampled_from(TOKENS), max_size=2),
    st.lists(st.sampled_from(AMOUNTS), max_size=2),
    st.sampled_from([None, *DATES]),
)
PREFIXES = st.sampled_from(["eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap"])
PERIODS = st.builds(
    lambda prefix, ends: Period(prefix, *sorted(ends)),
    PREFIXES,
    st.lists(st.sampled_from(DAYS), min_size=2, max_size=2, unique=True),
)
TIMES = st.builds(
    lambda prefix, ends: Period(prefix, *map(at, sorted(ends))),
    PREFIXES,
    st.lists(st.integers(0, 4), min_size=2, max_size=2, unique=True),
)
NUMBERS = st.sampled_from([Decimal(1), Decimal("1.5"), Decimal(2), Decimal(3)])
MEASURED = st.builds(
    lambda prefix, ends, unit: Amount(prefix, *sorted(ends), *unit),
    PREFIXES,
    st.tuples(NUMBERS, NUMBERS),
    st.sampled_from([("", ""), ("u", "m"), ("", "m"), ("u", "")]),
)
WORDS = st.one_of(
    st.builds(Is, st.sampled_from(TOKENS)),
    st.builds(Code, st.sampled_from(["a", "b", "x|y"])),
    st.builds(NoSystem, st.just("a")),
    st.builds(System, st.sampled_from(["s", "t", "none"])),
    st.builds(Present, st.booleans()),
)


def about(name, matches):
    return st.builds(
        Criterion,
        st.just((name,)),
        st.lists(matches, min_size=1, max_size=2).map(tuple),
        st.booleans(),
    )


CRITERIA = st.lists(
    st.one_of(
        about("code", WORDS),
        about("date", st.one_of(PERIODS, st.builds(Present, st.booleans()))),
        about("_lastUpdated", TIMES),
        about("value-quantity", MEASURED),
        st.builds(
            Criterion,
            st.just(("_id",)),
            st.lists(st.builds(Is, st.sampled_from(["o0", "o1", "o2"])), min_size=1).map(tuple),
            st.booleans(),
        ),
        st.builds(
            Criterion,
            st.just(("code", "other")),
            st.lists(st.builds(Is, st.sampled_from(TOKENS)), min_size=1).map(tuple),
            st.booleans(),
        ),
    ),
    max_size=3,
)
ORDERS = st.lists(
    st.builds(Order, st.sampled_from(["date", "_lastUpdated", "_id"]), st.booleans()), max_size=2
)


class Row:
    """A resource with the values it is found by."""

    def __init__(self, key, identity, values, recorded):
        codes, amounts, day = values
        self.key, self.id, self.recorded, self.date = key, identity, recorded, day
        self.values = {"code": codes, "value-quantity": amounts, "date": [day] if day else []}

    @property
    def resource(self):
        rows = [(name, value) for name, values in self.values.items() for value in values]
        return marked(b"{}", rows)


def days(low, high):
    return set(range(DAYS.index(low), DAYS.index(high)))


def stands(prefix, there, asked):
    """FHIR R4 search 3.1.1.4.5, said with sets of days: what lies above and below is a set too."""
    above, below = set(range(max(asked) + 1, 99)), set(range(-99, min(asked)))
    return {
        "eq": there <= asked,
        "ne": not there <= asked,
        "gt": bool(there & above),
        "lt": bool(there & below),
        "ge": bool(there & above) or there <= asked,
        "le": bool(there & below) or there <= asked,
        "sa": there <= above,
        "eb": there <= below,
        "ap": bool(there & asked),
    }[prefix]


def measures(match, value):
    number, system, code = value.split("|")
    there = Decimal(number)
    if (match.system or system) != system or (match.code or code) != code:
        return False
    return {
        "eq": match.low <= there < match.high,
        "ne": not match.low <= there < match.high,
        "gt": match.high < there,
        "lt": there < match.low,
        "ge": match.low <= there,
        "le": there <= match.high,
        "sa": match.high < there,
        "eb": there < match.low,
        "ap": match.low <= there <= match.high,
    }[match.prefix]


def instant(text):
    return int(text[-6:-5])


def in_time(match, row):
    asked = set(range(instant(match.low), instant(match.high)))
    return stands(match.prefix, {instant(row.recorded)}, asked)


def holds(match, name, row):
    if name == "_id":
        return row.id == match.value
    if name == "_lastUpdated":
        return in_time(match, row)
    values = row.values.get(name, [])
    if isinstance(match, Present):
        return bool(values) is match.present
    return any(meets_value(match, one) for one in values)


def meets_value(match, value):
    if isinstance(match, Period):
        return stands(match.prefix, days(*value.split("/")), days(match.low, match.high))
    if isinstance(match, Amount):
        return measures(match, value)
    system, _, code = value.partition("|")
    return {
        Is: lambda: value == match[0],
        System: lambda: system == match[0],
        NoSystem: lambda: (system, code) == ("", match[0]),
        Code: lambda: code == match[0],
    }[type(match)]()


def meets(criterion, row):
    found = any(holds(m, name, row) for m in criterion.matches for name in criterion.parameters)
    return found is not criterion.negated


def in_order(rows, orders):
    rows = sorted(rows, key=lambda row: row.key, reverse=bool(orders) and orders[0].descending)
    keys = {
        "date": lambda row: row.date or "",
        "_lastUpdated": lambda row: row.recorded,
        "_id": lambda row: row.id,
    }
    for order in reversed(orders):
        rows.sort(key=keys[order.parameter], reverse=order.descending)
    return rows


@pytest.fixture(params=[True, False], ids=["walking", "sorting"])
def way(request, monkeypatch):
    monkeypatch.setattr(leading, "_is_walked", lambda *_: request.param)


class Life:
    """A store and, beside it, the newest row of each resource."""

    def __init__(self, store, dated):
        self.store, self.dated, self.rows, self.exams = store, dated, {}, []
        self.clock = self.key = 0

    def post(self, parts):
        names = [f"o{len(self.rows) + number}" for number in range(len(parts))]
        made = [self.row(name, values, 0) for name, values in zip(names, parts, strict=True)]
        self.exams.append(first(f"EX-{self.clock}", tuple(made), recorded=at(self.clock)))
        self.store.add(self.exams[-1], None)
        self.clock += 1

    def correct(self, exam, parts):
        before = self.exams[exam % len(self.exams)]
        made = [
            self.row(old.id, parts[number], old.version) if number < len(parts) else old
            for number, old in enumerate(before.resources)
        ]
        after = following(before, tuple(made), recorded=at(self.clock))
        self.exams[exam % len(self.exams)] = after
        self.store.add(after, before.version)
        self.clock += 1

    def row(self, name, values, version):
        codes, amounts, day = values
        day = day or (DATES[0] if self.dated else None)
        self.key += 1
        self.rows[name] = Row(self.key, name, (codes, amounts, day), at(self.clock))
        return Resource("Observation", name, self.rows[name].resource, version + 1)

    def expected(self, criteria, orders):
        met = [row for row in self.rows.values() if all(meets(one, row) for one in criteria)]
        return [row.id for row in in_order(met, orders)]


PARTS = st.lists(ROWS, min_size=1, max_size=4)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(PARTS, min_size=1, max_size=3),
    st.lists(st.tuples(st.integers(0, 2), PARTS), max_size=2),
    CRITERIA,
    ORDERS,
    st.integers(1, 4),
    st.booleans(),
)
@pytest.mark.usefixtures("way")
def test_src_07_src_20_a_search_finds_what_meets_every_criterion_in_order(
    exams, corrections, criteria, orders, count, dated
):
    with tempfile.TemporaryDirectory() as folder:
        store = opened(Path(folder) / "s.sqlite3")
        life = Life(store, dated)
        for parts in exams:
            life.post(parts)
        search = Search("Observation", tuple(criteria), tuple(orders))
        early = life.expected(criteria, orders)
        moment = walk(store, search, count, early)
        for exam, parts in corrections:
            life.correct(exam, parts)
        walk(store, search, count, life.expected(criteria, orders))
        # as of the earlier moment nothing has changed
        walk(store, search, count, early, moment)
        store.close()


def walk(store, search, count, expected, at=None):
    """Walk to the end and back again; return the moment that was looked at."""
    page = store.search(search, count, at)
    assert page.total == len(expected)
    seen, pages = [row.id for row in page.rows], [page]
    while page.has_next:
        page = store.search(search, count, page.at, page.last, total=False)
        assert page.total is None
        pages.append(page)
        seen += [row.id for row in page.rows]
    assert seen == expected
    back = pages[-1]
    for earlier in reversed(pages[:-1]):
        assert back.has_previous
        back = store.search(search, count, back.at, before=back.first)
        assert [row.id for row in back.rows] == [row.id for row in earlier.rows]
    assert not back.has_previous
    return page.at


@given(st.sampled_from(DATES), PERIODS)
def test_src_07_a_range_leaves_out_no_date_that_meets(value, period):
    found = range_of("date", period)
    low, _, high = value.partition("/")
    if found is None or not stands(period.prefix, days(low, high), days(period.low, period.high)):
        return
    text = value if found.column == VALUE else high
    assert found.low <= text <= found.high


def test_src_04_last_updated_is_the_time_of_the_newest_version(store):
    one = first("EX-1", (Resource("Observation", "o", marked(b"{}", []), 1),))
    store.add(one, None)
    changed = Resource("Observation", "o", marked(b'{"n":2}', []), 2)
    store.add(following(one, (changed,), recorded=at(60)), 1)

    def found(prefix, low, high):
        period = Criterion(("_lastUpdated",), (Period(prefix, low, high),))
        return store.search(Search("Observation", (period,)), 5).total

    assert found("ge", at(60), at(61)) == 1
    assert found("gt", at(60), at(60)) == 1
    assert found("gt", at(60), at(61)) == 0
    assert found("eq", at(60), at(61)) == 1
    assert found("lt", at(60), at(61)) == 0
    assert found("le", at(0), at(1)) == 0
