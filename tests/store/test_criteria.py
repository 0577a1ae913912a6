"""Every kind of criterion, compared with the plain way of saying it over small random stores."""

from __future__ import annotations

import tempfile
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.store.exams import at, first, following, marked, opened

from brachium.records import Resource
from brachium.store import leading
from brachium.store.comparing import amount_meets, date_meets
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

DAYS = [f"2026-03-{day:02}T00:00:00.000Z" for day in range(1, 6)]
DATES = [f"{low}/{high}" for low, high in pairwise(DAYS)]
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
        about("date", PERIODS),
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

    def __init__(self, identity, codes, amounts, day, recorded):
        self.id, self.recorded, self.date = identity, recorded, day
        self.values = {"code": codes, "value-quantity": amounts, "date": [day] if day else []}

    @property
    def search(self):
        return [(name, value) for name, values in self.values.items() for value in values]


def holds(match, name, row):
    values = row.values.get(name, [])
    if name == "_id":
        return row.id == match.value
    if isinstance(match, Present):
        return bool(values) is match.present
    if isinstance(match, Period):
        return any(date_meets(one, *match) for one in values)
    if isinstance(match, Amount):
        low, high = str(match.low), str(match.high)
        return any(
            amount_meets(v, match.prefix, low, high, match.system, match.code) for v in values
        )
    if isinstance(match, Is):
        return match.value in values
    if isinstance(match, System):
        return any(one.startswith(f"{match.system}|") for one in values)
    if isinstance(match, NoSystem):
        return f"|{match.code}" in values
    return any(one.partition("|")[2] == match.code for one in values)


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


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.lists(ROWS, min_size=1, max_size=4), min_size=1, max_size=3),
    CRITERIA,
    ORDERS,
    st.integers(1, 4),
    st.booleans(),
)
@pytest.mark.usefixtures("way")
def test_src_07_src_20_a_search_finds_what_meets_every_criterion_in_order(
    exams, criteria, orders, count, dated
):
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        store = opened(Path(folder) / "s.sqlite3")
        for number, parts in enumerate(exams):
            made = []
            for codes, amounts, day in parts:
                name = f"o{len(rows)}"
                row = Row(
                    name, codes, amounts, day or (DATES[0] if dated else None), at(number % 2)
                )
                row.key = len(rows)
                rows.append(row)
                made.append(Resource("Observation", name, marked(b"{}", row.search), 1))
            store.add(first(f"EX-{number}", tuple(made), recorded=at(number % 2)), None)
        expected = [row.id for row in rows if all(meets(one, row) for one in criteria)]
        ordered = [r.id for r in in_order([r for r in rows if r.id in expected], orders)]
        search = Search("Observation", tuple(criteria), tuple(orders))
        page = store.search(search, count)
        assert page.total == len(expected)
        seen, pages = [row.id for row in page.rows], [page]
        while page.has_next:
            page = store.search(search, count, page.at, page.last, total=False)
            assert page.total is None
            pages.append(page)
            seen += [row.id for row in page.rows]
        assert seen == ordered
        back = pages[-1]
        for earlier in reversed(pages[:-1]):
            assert back.has_previous
            back = store.search(search, count, back.at, before=back.first)
            assert [row.id for row in back.rows] == [row.id for row in earlier.rows]
        assert not back.has_previous
        store.close()


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
