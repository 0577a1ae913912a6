"""Criteria as SQL conditions on one row of ``resource_version AS resource``.

Nothing that somebody asks for ever becomes part of a query; names of parameters and values are
always bound. Runs of one value never overlap, so the last run that starts at or before a key is the
only one that can hold it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from brachium.store.criteria import (
    Amount,
    Code,
    Criterion,
    Is,
    Match,
    NoSystem,
    Period,
    Present,
    System,
    Text,
)
from brachium.store.terms import ANY

if TYPE_CHECKING:
    from collections.abc import Sequence

_LISTED = (Is, Code, NoSystem, System, Text)
ID, UPDATED = "_id", "_lastUpdated"
_LAST_CHARACTER = "\U0010ffff"

_HOLDS = (
    "(SELECT last FROM search WHERE type = ? AND parameter = ? AND value = ?"
    " AND first <= resource.pk ORDER BY first DESC LIMIT 1) >= resource.pk"
)
ORDERED_VALUE = (
    "(SELECT CASE WHEN last >= resource.pk THEN value END FROM ordered"
    " WHERE type = ? AND parameter = ? AND first <= resource.pk ORDER BY first DESC LIMIT 1)"
)
_AMOUNTS = (
    "EXISTS (SELECT 1 FROM ordered WHERE type = ? AND parameter = ? AND first = resource.pk"
    " AND amount_meets(value, ?, ?, ?, ?, ?))"
)
RECORDED = "(SELECT recorded FROM exam_version WHERE pk = resource.origin)"


class Condition(NamedTuple):
    """SQL text with the values for its question marks."""

    sql: str
    values: tuple[object, ...] = ()


class Values(NamedTuple):
    """A condition that is nothing but a list of index values, which can lead to the rows too."""

    parameter: str
    texts: tuple[str, ...]


def values_of(db: sqlite3.Connection, kind: str, criterion: Criterion) -> tuple[Values, ...] | None:
    """Return the index values that meet a criterion, by parameter; ``None`` where there is no list.

    Negated criteria, dates, quantities and what is asked about ids or times have none.
    """
    if criterion.negated or {ID, UPDATED} & set(criterion.parameters):
        return None
    if not all(isinstance(match, _LISTED) for match in criterion.matches):
        return None
    return tuple(
        Values(name, tuple(dict.fromkeys(_texts(db, kind, name, criterion.matches))))
        for name in criterion.parameters
    )


def _texts(
    db: sqlite3.Connection, kind: str, parameter: str, matches: Iterable[Match]
) -> Iterator[str]:
    for match in matches:
        if isinstance(match, Is):
            yield match.value
        elif isinstance(match, NoSystem):
            yield f"|{match.code}"
        elif isinstance(match, System):
            yield f"{match.system}|"
        elif isinstance(match, Code):
            yield from (f"{one}|{match.code}" for one in _systems(db, kind, parameter))
        elif isinstance(match, Text):
            yield from _beginning(db, kind, parameter, match.start.casefold())


def _systems(db: sqlite3.Connection, kind: str, parameter: str) -> Iterator[str]:
    """Every system of a token parameter, by jumping from one to the next in the index."""
    query = (
        "SELECT value FROM search WHERE type = ? AND parameter = ? AND value > ? "
        "ORDER BY value LIMIT 1"
    )
    place = ANY
    while (row := db.execute(query, (kind, parameter, place)).fetchone()) is not None:
        system = row[0].partition("|")[0]
        yield system
        place = f"{system}|{_LAST_CHARACTER}"


def _beginning(db: sqlite3.Connection, kind: str, parameter: str, start: str) -> Iterator[str]:
    query = "SELECT DISTINCT value FROM search WHERE type = ? AND parameter = ?"
    query += " AND value >= ? AND value < ?"
    for (value,) in db.execute(query, (kind, parameter, start or "\x01", start + _LAST_CHARACTER)):
        yield value


def condition(db: sqlite3.Connection, kind: str, criterion: Criterion) -> Condition:
    """Return a criterion as a condition."""
    found = [
        one
        for name in criterion.parameters
        for match in criterion.matches
        for one in _conditions(db, kind, name, match)
    ]
    sql = " OR ".join(one.sql for one in found) or "FALSE"
    values = tuple(value for one in found for value in one.values)
    return Condition(f"NOT coalesce(({sql}), FALSE)" if criterion.negated else f"({sql})", values)


def _conditions(db: sqlite3.Connection, kind: str, name: str, match: Match) -> Sequence[Condition]:
    if name == ID:
        return [_of_id(match)]
    if isinstance(match, Period):
        asked = (match.prefix, match.low, match.high)
        if name == UPDATED:
            return [Condition(f"date_meets({RECORDED}, ?, ?, ?)", asked)]
        return [Condition(f"date_meets({ORDERED_VALUE}, ?, ?, ?)", (kind, name, *asked))]
    if isinstance(match, Amount):
        bounds = (format(match.low, "f"), format(match.high, "f"))
        wanted = (match.prefix, *bounds, match.system, match.code)
        return [Condition(_AMOUNTS, (kind, name, *wanted))]
    if isinstance(match, Present):
        holds = _HOLDS if match.present else f"NOT coalesce({_HOLDS}, FALSE)"
        return [Condition(holds, (kind, name, ANY))]
    return [Condition(_HOLDS, (kind, name, text)) for text in _texts(db, kind, name, [match])]


def _of_id(match: Match) -> Condition:
    if isinstance(match, Is):
        return Condition("resource.id = ?", (match.value,))
    if isinstance(match, Code):
        return Condition("resource.id = ?", (match.code,))
    return Condition("FALSE")
