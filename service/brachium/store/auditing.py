"""Searching the audit: FHIR's AuditEvent with the same criteria as everything else (AUD-09)."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from typing import TypeAlias

from brachium.records import AuditRow, StoredResource
from brachium.store.chain import entry_of
from brachium.store.conditions import ID, UPDATED, Condition
from brachium.store.criteria import (
    Code,
    Criterion,
    Is,
    Match,
    NoSystem,
    Period,
    Present,
    Search,
    System,
)
from brachium.store.port import Page

TYPE = "AuditEvent"
# an entry as the FHIR resource that tells it
Teller: TypeAlias = Callable[[AuditRow], bytes]
_PREFIX = "audit-"
_HAS = (
    "EXISTS (SELECT 1 FROM audit_term AS term"
    " WHERE term.parameter = ? AND term.number = audit.number"
)


def event_id(number: int) -> str:
    """Return the id of the AuditEvent of an entry."""
    return f"{_PREFIX}{number}"


def number_of(identity: str) -> int:
    """Return the number in an id, 0 for an id that is none of ours."""
    digits = identity.removeprefix(_PREFIX)
    fits = identity.startswith(_PREFIX) and digits.isascii() and digits.isdigit()
    return int(digits) if fits and len(digits) < 19 else 0


def newest(db: sqlite3.Connection) -> int:
    """Return the number of the last entry."""
    return int(db.execute("SELECT coalesce(max(number), 0) FROM audit").fetchone()[0])


def event(db: sqlite3.Connection, identity: str, tell: Teller) -> StoredResource | None:
    """Return one AuditEvent."""
    query = "SELECT number, hash, entry FROM audit WHERE number = ?"
    row = db.execute(query, (number_of(identity),)).fetchone()
    return _told(row, tell) if row else None


def found(
    db: sqlite3.Connection,
    search: Search,
    count: int,
    at: int | None,
    after: str | None,
    before: str | None,
    tell: Teller,
    *,
    total: bool,
) -> Page:
    """Return a page of AuditEvents, newest first unless the search sorts by date or its like."""
    moment = newest(db) if at is None else at
    parts = [_condition(criterion) for criterion in search.criteria]
    parts.append(Condition("audit.number <= ?", (moment,)))
    where = " AND ".join(part.sql for part in parts)
    values = tuple(value for part in parts for value in part.values)
    matches = None
    if total and not search.criteria:
        # numbers have no gaps, and there may be millions
        matches = moment
    elif total:
        # put together of the constants below; values never become part of a query
        counting = f"SELECT count(*) FROM audit WHERE {where}"  # noqa: S608
        matches = db.execute(counting, values).fetchone()[0]
    descending = not search.order or search.order[0].descending
    backwards = before is not None
    way = descending is not backwards
    place = before if backwards else after
    if place is not None:
        where += f" AND audit.number {'<' if way else '>'} ?"
        values = (*values, int(place) if place.isascii() and place.isdigit() else 0)
    order = f"ORDER BY number {'DESC' if way else 'ASC'} LIMIT ?"
    query = f"SELECT number, hash, entry FROM audit WHERE {where} {order}"  # noqa: S608
    rows = db.execute(query, (*values, count + 1)).fetchall()
    more, rows = len(rows) > count, rows[:count]
    if backwards:
        rows.reverse()
    first, last = (str(rows[0][0]), str(rows[-1][0])) if rows else (None, None)
    has_previous, has_next = (more, True) if backwards else (place is not None, more)
    events = tuple(_told(row, tell) for row in rows)
    return Page(matches, events, moment, first, last, has_previous, has_next)


def history(
    db: sqlite3.Connection,
    identity: str | None,
    since: str | None,
    period: tuple[str, str] | None,
    count: int,
    at: int | None,
    after: str | None,
    tell: Teller,
) -> Page:
    """Return a page of the history of one AuditEvent or of all: each has one version for ever."""
    criteria = []
    if identity is not None:
        criteria.append(Criterion((ID,), (Is(identity),)))
    if since is not None:
        criteria.append(Criterion((UPDATED,), (Period("ge", since, since),)))
    if period is not None:
        criteria.append(Criterion((UPDATED,), (Period("lt", period[1], period[1]),)))
    search = Search(TYPE, tuple(criteria))
    return found(db, search, count, at, after, None, tell, total=True)


def _told(row: tuple[int, bytes, bytes], tell: Teller) -> StoredResource:
    number, link, text = row
    entry = entry_of(text)
    told = tell(AuditRow(number, link.hex(), entry))
    return StoredResource(TYPE, event_id(number), 1, entry.at, told)


def _condition(criterion: Criterion) -> Condition:
    exact = [match.value for match in criterion.matches if isinstance(match, Is)]
    found = [
        _match(name, match)
        for name in criterion.parameters
        for match in criterion.matches
        if name == ID or not isinstance(match, Is)
    ]
    if exact:
        found += [_exactly(name, exact) for name in criterion.parameters if name != ID]
    sql = " OR ".join(one.sql for one in found) or "FALSE"
    values = tuple(value for one in found for value in one.values)
    return Condition(f"NOT ({sql})" if criterion.negated else f"({sql})", values)


def _match(name: str, match: Match) -> Condition:
    if name == ID:
        asked = match[0] if isinstance(match, Is | Code) else ""
        return Condition("audit.number = ?", (number_of(str(asked)),))
    if isinstance(match, Period):
        if name not in ("date", UPDATED):
            return Condition("FALSE")
        return Condition("date_meets(audit.at, ?, ?, ?)", tuple(match))
    if isinstance(match, Present):
        return Condition(f"{'' if match.present else 'NOT '}{_HAS})", (name,))
    if isinstance(match, Code):
        return Condition(
            f"{_HAS} AND substr(term.value, instr(term.value, '|') + 1) = ?)", (name, match.code)
        )
    if isinstance(match, System):
        return Condition(
            f"{_HAS} AND substr(term.value, 1, ?) = ?)",
            (name, len(match.system) + 1, f"{match.system}|"),
        )
    return _exactly(name, [f"|{match.code}" if isinstance(match, NoSystem) else str(match[0])])


def _exactly(name: str, values: Sequence[str]) -> Condition:
    """One of some values; all of them in one look-up, since there can be hundreds."""
    marks = ", ".join("?" * len(values))
    # made of question marks; values never become part of a query
    return Condition(
        "audit.number IN (SELECT number FROM audit_term"  # noqa: S608
        f" WHERE parameter = ? AND value IN ({marks}))",
        (name, *values),
    )
