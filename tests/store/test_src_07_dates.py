"""Dates around a day boundary, at +01:00 and in UTC (FHIR R4 search 3.1.1.4.7)."""

from __future__ import annotations

import pytest
from tests.store.exams import first, marked

from brachium.coding.periods import interval
from brachium.records import Resource
from brachium.store.comparing import date_meets
from brachium.store.criteria import Criterion, Period, Search

# what a resource says, and what each prefix with the day 2026-03-02 in UTC should say of it
DAY = ("2026-03-02T00:00:00.000Z", "2026-03-03T00:00:00.000Z")
PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb")
TABLE = {
    # the last minute before, in both offsets
    "2026-03-01T23:59:59Z": "ne lt le eb",
    "2026-03-02T00:59:59+01:00": "ne lt le eb",
    # midnight in UTC, said in both offsets
    "2026-03-02T00:00:00Z": "eq ge le",
    "2026-03-02T01:00:00+01:00": "eq ge le",
    # the same digits an hour earlier are the day before
    "2026-03-02T00:00:00+01:00": "ne lt le eb",
    # within the day
    "2026-03-02T10:15:00+01:00": "eq ge le",
    "2026-03-02T23:59:59.999Z": "eq ge le",
    "2026-03-03T00:59:59+01:00": "eq ge le",
    # the next day
    "2026-03-03T00:00:00Z": "ne gt ge sa",
    "2026-03-03T01:00:00+01:00": "ne gt ge sa",
    # what is said less exactly than asked
    "2026-03-02": "eq ge le",
    "2026-03": "ne gt lt ge le",
    "2026": "ne gt lt ge le",
    "2026-02": "ne lt le eb",
    "2027": "ne gt ge sa",
}


@pytest.mark.parametrize("prefix", PREFIXES)
@pytest.mark.parametrize("said", TABLE)
def test_src_07_prefixes_around_a_day_boundary(said, prefix):
    expected = prefix in TABLE[said].split()
    assert date_meets(interval(said), prefix, *DAY) is expected


@pytest.mark.parametrize("prefix", [*PREFIXES, "ap"])
def test_src_07_the_store_finds_what_the_table_says(store, prefix):
    parts = [
        Resource("Observation", f"o{n}", marked(b"{}", [("date", interval(said))]), 1)
        for n, said in enumerate(TABLE)
    ]
    store.add(first(resources=tuple(parts)), None)
    # a day is overlapped by what is neither before nor behind it
    expected = [
        f"o{n}"
        for n, prefixes in enumerate(TABLE.values())
        if prefix in prefixes.split()
        or (prefix == "ap" and not {"sa", "eb"} & set(prefixes.split()))
    ]
    page = store.search(Search("Observation", (asked(prefix),)), 50)
    assert [row.id for row in page.rows] == expected
    others = {"eq": "ne", "ne": "eq", "gt": "le", "lt": "ge"}
    if prefix in others:
        both = Search("Observation", (asked(prefix), asked(others[prefix])))
        long = [f"o{n}" for n, said in enumerate(TABLE) if len(said) < len("2026-03-02")]
        found = {row.id for row in store.search(both, 50).rows}
        # AND: only what reaches over an end of the day can be on both sides of it
        assert found <= (set(long) if prefix in ("gt", "lt") else set())


def asked(prefix):
    return Criterion(("date",), (Period(prefix, *DAY),))


@pytest.mark.parametrize(
    ("said", "low", "high", "expected"),
    [
        ("2026-03-02T10:15:00Z", "10:15:00.000", "10:16:00.000", True),
        ("2026-03-02T10:15:59Z", "10:15:00.000", "10:16:00.000", True),
        ("2026-03-02T10:16:00Z", "10:15:00.000", "10:16:00.000", False),
        ("2026-03-02T10:15:00.5Z", "10:15:00.500", "10:15:00.600", True),
        ("2026-03-02T10:15:00Z", "10:15:00.000", "10:15:00.100", False),
    ],
)
def test_src_07_minutes_and_fractions(said, low, high, expected):
    bounds = (f"2026-03-02T{low}Z", f"2026-03-02T{high}Z")
    assert date_meets(interval(said), "eq", *bounds) is expected


def test_src_07_approximately_is_an_overlap():
    assert date_meets(interval("2026-03"), "ap", *DAY)
    assert not date_meets(interval("2026-03-04"), "ap", *DAY)
    assert not date_meets(None, "ne", *DAY)
