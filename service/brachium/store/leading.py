"""What leads to the rows of a search: the criterion that leaves the fewest, asked of the index."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple

from brachium.records import DATES
from brachium.store import reading
from brachium.store.belonging import lead_of
from brachium.store.conditions import ID, UPDATED, Condition, condition, values_of
from brachium.store.criteria import Amount, Code, Is, Period, Present
from brachium.store.leads import (
    FROM_DATES,
    FROM_IDS,
    FROM_TIMES,
    Lead,
    of_id,
    of_range,
    of_value,
)
from brachium.store.ranges import TIME, VALUE, Range, range_of
from brachium.store.terms import ANY
from brachium.store.weighing import held, in_range, in_runs

if TYPE_CHECKING:
    from brachium.store.criteria import Criterion, Search

# rows up to which it is better to sort what a criterion leads to, whatever there is besides
_FEW = 2000


class Walk(NamedTuple):
    """A lead whose rows come in the order asked for: ``value`` is what they are sorted by.

    ``order`` is the whole order of the index, for those who sort by nothing else.
    """

    lead: Lead
    value: str
    order: tuple[str, ...]


class Candidate(NamedTuple):
    """Leads that together reach every row that meets a criterion, and about how many they reach.

    ``settled`` is the criterion when the leads reach nothing else.
    """

    weight: int
    leads: tuple[Lead, ...]
    settled: Criterion | None = None


class Plan(NamedTuple):
    """Where the rows of a search come from, and what has to hold of each.

    A row may come from several leads.
    """

    leads: tuple[Lead, ...]
    conditions: tuple[Condition, ...]
    walk: Walk | None = None

    @property
    def where(self) -> str:
        """The conditions, each after an AND."""
        return "".join(f" AND {one.sql}" for one in self.conditions)

    @property
    def values(self) -> tuple[object, ...]:
        """The values of the conditions."""
        return tuple(value for one in self.conditions for value in one.values)


def counting(db: sqlite3.Connection, search: Search, others: Iterable[Condition]) -> Plan:
    """Return how to find everything that meets every criterion and ``others``, in any order."""
    everything = _everything(db, search.type)
    best = _best(_candidates(db, search, everything, everything.weight // 4 + _FEW))
    return _plan(db, search, best, others)


def paging(db: sqlite3.Connection, search: Search, others: Iterable[Condition], count: int) -> Plan:
    """Return how to find the next ``count`` rows of a search in its order."""
    everything = _everything(db, search.type)
    best = _best(_candidates(db, search, everything, _FEW))
    if _is_walked(best.weight, everything.weight, count):
        walk = _walk(db, search)
        if walk is not None:
            conditions = [condition(db, search.type, one) for one in search.criteria]
            return Plan((walk.lead,), (*conditions, *others), walk)
    return _plan(db, search, best, others)


def _best(candidates: Iterable[Candidate]) -> Candidate:
    return min(candidates, key=attrgetter("weight"))


def _plan(
    db: sqlite3.Connection, search: Search, best: Candidate, others: Iterable[Condition]
) -> Plan:
    open_ones = [one for one in search.criteria if one is not best.settled]
    conditions = [condition(db, search.type, one) for one in open_ones]
    if all(lead.runs for lead in best.leads):
        conditions += _since(db, search)
    return Plan(best.leads, (*conditions, *others))


def _since(db: sqlite3.Connection, search: Search) -> Iterator[Condition]:
    """What was stored from a time on has keys from one key on, in runs that can be passed over."""
    for found in _ranges(search, UPDATED):
        if found.low:
            first = reading.first_key_since(db, found.low)
            yield Condition("search.last >= ? AND resource.pk >= ?", (first, first))


def _is_walked(weight: int, everything: int, count: int) -> bool:
    """Tell whether to walk along the order: the matches lie the closer together the more there are.

    To find a page one walks past ``count * everything / weight`` rows, or sorts ``weight`` rows.
    """
    return weight > _FEW and weight * weight > count * everything


def _candidates(
    db: sqlite3.Connection, search: Search, everything: Candidate, most: int
) -> Iterator[Candidate]:
    """Every way to look for the rows; ``most`` is what may come in an order of its own."""
    yield everything
    if search.organization:
        lead, weight = lead_of(db, search.type, search.organization)
        yield Candidate(in_runs(db, lead) if weight is None else weight, (lead,))
    for criterion in search.criteria:
        found = _candidate(db, search.type, criterion, most)
        if found is not None:
            yield found


def _candidate(
    db: sqlite3.Connection, kind: str, criterion: Criterion, most: int
) -> Candidate | None:
    if criterion.negated:
        return None
    if criterion.parameters == (ID,):
        ids = [one[0] for one in criterion.matches if isinstance(one, Is | Code)]
        return Candidate(len(ids), tuple(of_id(kind, one) for one in ids), criterion)
    listed = values_of(db, kind, criterion)
    if listed is not None:
        leads = tuple(of_value(kind, one.parameter, text) for one in listed for text in one.texts)
        return Candidate(sum(in_runs(db, one) for one in leads), leads, criterion)
    return _of_periods(db, kind, criterion, most) or _of_presence(db, kind, criterion)


def _of_periods(
    db: sqlite3.Connection, kind: str, criterion: Criterion, most: int
) -> Candidate | None:
    """Return the ranges of the dates asked for, when there are not too many rows in them."""
    ranges = [
        (name, range_of(name, match) if isinstance(match, Period) else None)
        for name in criterion.parameters
        for match in criterion.matches
    ]
    known = [(name, found) for name, found in ranges if found is not None]
    if len(known) < len(ranges):
        return None
    weight = sum(in_range(db, kind, name, found, most) for name, found in known)
    if weight >= most:
        return None
    return Candidate(weight, tuple(of_range(kind, name, found) for name, found in known))


def _of_presence(db: sqlite3.Connection, kind: str, criterion: Criterion) -> Candidate | None:
    """Return what has a value to compare at all."""
    asks = all(
        match.present if isinstance(match, Present) else isinstance(match, Amount | Period)
        for match in criterion.matches
    )
    if not asks or {ID, UPDATED} & set(criterion.parameters):
        return None
    leads = tuple(of_value(kind, name, ANY) for name in criterion.parameters)
    return Candidate(sum(in_runs(db, one) for one in leads), leads)


def _everything(db: sqlite3.Connection, kind: str) -> Candidate:
    lead = of_value(kind, ANY, ANY)
    return Candidate(in_runs(db, lead), (lead,))


def _walk(db: sqlite3.Connection, search: Search) -> Walk | None:
    """Return how to walk in the order of a search, where an index has it and leaves nothing out."""
    if not search.order:
        return None
    kind, name = search.type, search.order[0].parameter
    if name == ID:
        return Walk(Lead(FROM_IDS, (kind,)), "resource_id.id", ("resource_id.id", "resource.pk"))
    if name == UPDATED:
        lead = _narrowed(Lead(FROM_TIMES, (kind,)), search, name, TIME)
        return Walk(lead, TIME, (TIME, "resource.pk"))
    if name not in DATES or held(db, kind, name) != held(db, kind, ANY):
        return None
    lead = _narrowed(Lead(FROM_DATES, (kind, name)), search, name, VALUE)
    return Walk(lead, VALUE, (VALUE, "ordered.first", "resource.pk"))


def _narrowed(lead: Lead, search: Search, parameter: str, column: str) -> Lead:
    """Return the lead of a walk without what lies outside a period asked for."""
    sql, values = lead.sql, lead.values
    for found in _ranges(search, parameter):
        if found.column == column:
            sql += f" AND {found.condition.sql}"
            values = (*values, *found.condition.values)
    return Lead(sql, values)


def _ranges(search: Search, parameter: str) -> Iterator[Range]:
    """Every range that all rows of a search are in."""
    for names, matches, negated in search.criteria:
        if negated or names != (parameter,) or len(matches) != 1:
            continue
        (match,) = matches
        found = range_of(parameter, match) if isinstance(match, Period) else None
        if found is not None:
            yield found
