"""What an entry of the audit has to meet, as SQL that stays quick however long the trail is.

A condition that few entries meet leads to them; one that many meet is asked of each entry on the
way through the trail, which ends when the page is full.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence

from brachium.store.conditions import ID, UPDATED, Condition
from brachium.store.criteria import (
    Code,
    Criterion,
    Is,
    Match,
    NoSystem,
    Period,
    Present,
    System,
)

# so many entries are led to at most
FEW = 10_000
_PREFIX = "audit-"
# the prefixes of FHIR R4 search 3.1.1.4.5 for an instant and the period from the first ? to the
# second; ap is taken as eq, since nobody asks when something happened about a day
_DATES = {
    "eq": "{at} >= ? AND {at} < ?",
    "ap": "{at} >= ? AND {at} < ?",
    "ne": "NOT ({at} >= ? AND {at} < ?)",
    "ge": "{at} >= ?1",
    "gt": "{at} >= ?2",
    "sa": "{at} >= ?2",
    "lt": "{at} < ?1",
    "eb": "{at} < ?1",
    "le": "{at} < ?2",
}
_NEVER = Condition("FALSE")


def event_id(number: int) -> str:
    """Return the id of the AuditEvent of an entry."""
    return f"{_PREFIX}{number}"


def number_of(identity: str) -> int:
    """Return the number in an id, 0 for an id that is none of ours."""
    digits = identity.removeprefix(_PREFIX)
    fits = identity.startswith(_PREFIX) and digits.isascii() and digits.isdigit()
    return int(digits) if fits and len(digits) < 19 else 0


def condition(db: sqlite3.Connection, criterion: Criterion) -> Condition:
    """Return a criterion as a condition on a row of the audit."""
    found = [
        part
        for name in criterion.parameters
        for part in _parts(db, name, criterion.matches)
        if part is not _NEVER
    ]
    sql = " OR ".join(one.sql for one in found) or "FALSE"
    values = tuple(value for one in found for value in one.values)
    return Condition(f"NOT ({sql})" if criterion.negated else f"({sql})", values)


def _parts(db: sqlite3.Connection, name: str, matches: Sequence[Match]) -> Iterator[Condition]:
    values: list[str] = []
    for match in matches:
        if name == ID:
            asked = match[0] if isinstance(match, Is | Code) else ""
            yield Condition("audit.number = ?", (number_of(str(asked)),))
        elif isinstance(match, Period):
            yield _when(db, match) if name in ("date", UPDATED) else _NEVER
        elif isinstance(match, Present):
            has = "audit.number IN (SELECT number FROM audit_term WHERE parameter = ?)"
            yield Condition(has if match.present else f"NOT {has}", (name,))
        else:
            values += _values(db, name, match)
    if values:
        # all values in one look-up, since there can be hundreds
        yield _exactly(db, name, values)


def _values(db: sqlite3.Connection, name: str, match: Match) -> list[str]:
    """Return the stored texts that a match is about; of tokens there are few different ones."""
    if isinstance(match, Code):
        return [one for one in _different(db, name) if one.partition("|")[2] == match.code]
    if isinstance(match, System):
        return [one for one in _different(db, name) if one.startswith(f"{match.system}|")]
    if isinstance(match, NoSystem):
        return [f"|{match.code}"]
    return [match.value] if isinstance(match, Is) else []


def _different(db: sqlite3.Connection, name: str) -> Iterator[str]:
    """Yield every value of a parameter once, going from each to the next in the index."""
    following = "SELECT min(value) FROM audit_term WHERE parameter = ? AND value > ?"
    value = ""
    while (value := db.execute(following, (name, value)).fetchone()[0]) is not None:
        yield value


def _exactly(db: sqlite3.Connection, name: str, values: Sequence[str]) -> Condition:
    marks = ", ".join("?" * len(values))
    # made of question marks; values never become part of a query
    terms = f"SELECT number FROM audit_term WHERE parameter = ? AND value IN ({marks})"  # noqa: S608
    if _are_few(db, terms, (name, *values)):
        return Condition(f"audit.number IN ({terms})", (name, *values))
    return Condition(f"EXISTS ({terms} AND number = audit.number)", (name, *values))


def _when(db: sqlite3.Connection, period: Period) -> Condition:
    words = _DATES[period.prefix]
    bounds = {"?1": period.low, "?2": period.high}
    named = next((name for name in bounds if name in words), None)
    values = (bounds[named],) if named else (period.low, period.high)
    words = words.replace(named, "?") if named else words
    times = f"SELECT number FROM audit WHERE {words.format(at='at')}"  # noqa: S608 - our own words
    if _are_few(db, times, values):
        return Condition(f"audit.number IN ({times})", values)
    # the sign keeps SQLite from sorting everything that an index leads to
    return Condition(f"({words.format(at='+audit.at')})", values)


def _are_few(db: sqlite3.Connection, query: str, values: tuple[object, ...]) -> bool:
    counting = f"SELECT count(*) FROM ({query} LIMIT {FEW + 1:d})"  # noqa: S608 - as above
    return bool(db.execute(counting, values).fetchone()[0] <= FEW)
