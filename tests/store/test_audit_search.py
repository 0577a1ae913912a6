"""Searching the audit finds what an obvious walk over all entries finds (matrix AUD-09)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.store.exams import at, opened, terms

from brachium.records import AuditEntry
from brachium.store import audit_terms
from brachium.store.criteria import (
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

ACTIONS = ("read", "search-type", "login")
TYPE = "AuditEvent"
MATCHES = st.one_of(
    st.builds(Code, st.sampled_from([*ACTIONS, "nothing"])),
    st.builds(System, st.sampled_from("ab")),
    st.builds(NoSystem, st.sampled_from(ACTIONS)),
    st.builds(Is, st.sampled_from(["a|read", "a|login", "Patient/1", "Patient/9"])),
    st.builds(Present, st.booleans()),
)
PERIODS = st.builds(
    lambda prefix, low, length: Period(prefix, at(low), at(low + length)),
    st.sampled_from(["eq", "ne", "ge", "gt", "le", "lt", "sa", "eb", "ap"]),
    st.integers(0, 35),
    st.integers(1, 5),
)
TERMS = st.builds(
    Criterion,
    st.sampled_from([("action",), ("patient",), ("action", "patient")]),
    st.lists(MATCHES, min_size=1, max_size=3).map(tuple),
    st.booleans(),
)
WHEN = st.builds(
    Criterion, st.just(("date",)), st.lists(PERIODS, min_size=1, max_size=2).map(tuple)
)


@pytest.fixture(scope="module")
def trail(tmp_path_factory):
    """A store with entries whose times go back now and then, as clocks do."""
    store = opened(tmp_path_factory.mktemp("audit") / "s.sqlite3")
    for number in range(40):
        patients = tuple(f"Patient/{one}" for one in range(number % 3))
        when = at(number - 3 if number % 7 == 5 else number)
        store.record(AuditEntry(when, ACTIONS[number % 3], "done", patients=patients))
    yield store
    store.close()


def meets(entry, criterion):
    return criterion.negated is not any(
        matches(entry, name, match) for name in criterion.parameters for match in criterion.matches
    )


def matches(entry, name, match):
    values = [one.value for one in terms(entry) if one.parameter == name]
    if isinstance(match, Period):
        return in_period(entry.at, match)
    if isinstance(match, Present):
        return bool(values) is match.present
    tokens = [one.split("|") for one in values if "|" in one]
    if isinstance(match, Code):
        return match.code in [code for _, code in tokens]
    if isinstance(match, System):
        return match.system in [system for system, _ in tokens]
    return (f"|{match.code}" if isinstance(match, NoSystem) else match.value) in values


def in_period(when, period):
    prefix, low, high = period
    return {
        "eq": low <= when < high,
        "ap": low <= when < high,
        "ne": not low <= when < high,
        "ge": when >= low,
        "gt": when >= high,
        "sa": when >= high,
        "lt": when < low,
        "eb": when < low,
        "le": when < high,
    }[prefix]


@pytest.mark.parametrize("few", [0, audit_terms.FEW])
@pytest.mark.parametrize("descending", [False, True])
@settings(max_examples=60, deadline=None)
@given(st.lists(st.one_of(TERMS, WHEN), max_size=3).map(tuple), st.integers(1, 9))
def test_aud_09_pages_hold_what_a_walk_over_all_entries_finds(
    trail, few, descending, criteria, count
):
    expected = [
        f"audit-{row.number}"
        for row in trail.audit()
        if all(meets(row.entry, one) for one in criteria)
    ]
    if descending:
        expected.reverse()
    search = Search(TYPE, criteria, (Order("date", descending),))
    # whichever way a condition is asked, it means the same
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(audit_terms, "FEW", few)
        page = trail.search(search, count)
        assert page.total == len(expected)
        found = [row.id for row in page.rows]
        while page.has_next:
            page = trail.search(search, count, page.at, page.last, total=False)
            found += [row.id for row in page.rows]
    assert found == expected
