"""Searching the audit: FHIR's AuditEvent with the same criteria as everything else (AUD-09)."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import TypeAlias

from brachium.records import AuditRow, StoredResource
from brachium.store.audit_terms import condition, event_id, number_of
from brachium.store.chain import entry_of
from brachium.store.conditions import ID, UPDATED, Condition
from brachium.store.criteria import Criterion, Is, Period, Search
from brachium.store.port import Page

TYPE = "AuditEvent"
# an entry as the FHIR resource that tells it
Teller: TypeAlias = Callable[[AuditRow], bytes]


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
    parts = [condition(db, criterion) for criterion in search.criteria]
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
    *,
    total: bool,
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
    return found(db, search, count, at, after, None, tell, total=total)


def _told(row: tuple[int, bytes, bytes], tell: Teller) -> StoredResource:
    number, link, text = row
    entry = entry_of(text)
    told = tell(AuditRow(number, link.hex(), entry))
    return StoredResource(TYPE, event_id(number), 1, entry.at, told)
