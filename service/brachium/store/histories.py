"""Every version of a resource, of a type or of everything, newest first, as of a moment."""

from __future__ import annotations

import sqlite3

from brachium.store import reading
from brachium.store.belonging import belonging
from brachium.store.conditions import RECORDED
from brachium.store.leads import of_id, of_value
from brachium.store.port import Page
from brachium.store.searching import newest_key
from brachium.store.terms import ANY

_OF_ALL = (" FROM resource_version AS resource WHERE TRUE", "resource.pk DESC")
# the version that came next, as of the moment
_REPLACED = (
    "(SELECT min(origin.recorded) FROM resource_id AS newer"
    " JOIN resource_version AS row ON row.pk = newer.resource_version"
    " JOIN exam_version AS origin ON origin.pk = row.origin"
    " WHERE newer.type = resource.type AND newer.id = resource.id"
    " AND newer.version = resource.version + 1 AND newer.resource_version <= ?)"
)


def told(
    db: sqlite3.Connection,
    kind: str | None,
    identity: str | None,
    since: str | None,
    period: tuple[str, str] | None,
    count: int,
    at: int | None,
    after: str | None,
    *,
    total: bool = True,
    organization: str = "",
) -> Page:
    """Return a page of versions.

    ``since`` is an instant: versions stored then or later. ``period`` holds two instants: versions
    that were the newest at some time from the first to before the second. ``organization`` leaves
    only versions of what belongs to it.
    """
    moment = newest_key(db) if at is None else at
    source, order, values = _source(kind, identity)
    where, more = _conditions(db, since, period, moment, in_runs="search.first" in order)
    if organization:
        own, whose = belonging(organization, moment)
        where, more = f"{where} AND {own}", (*more, *whose)
    values = (*values, moment, *more)
    count_all = f"SELECT count(*){source} AND resource.pk <= ?{where}"
    matches = db.execute(count_all, values).fetchone()[0] if total else None
    place = moment + 1 if after is None else _key(after)
    beginning = " AND search.first < ?" if "search.first" in order else ""
    query = (
        f"SELECT resource.pk{source} AND resource.pk <= ?{where} AND resource.pk < ?{beginning}"
        f" ORDER BY {order} LIMIT ?"
    )
    behind = (place, place) if beginning else (place,)
    keys = [row[0] for row in db.execute(query, (*values, *behind, count + 1))]
    page = keys[:count]
    first, last = (str(page[0]), str(page[-1])) if page else (None, None)
    rows = reading.by_keys(db, page)
    if identity is not None:
        reading.unambiguous(rows)
    return Page(matches, rows, moment, first, last, after is not None, len(keys) > count)


def _source(kind: str | None, identity: str | None) -> tuple[str, str, tuple[object, ...]]:
    if kind is None:
        return (*_OF_ALL, ())
    if identity is None:
        lead = of_value(kind, ANY, ANY)
        return lead.sql, "search.first DESC, resource.pk DESC", lead.values
    lead = of_id(kind, identity)
    return lead.sql, "resource.pk DESC", lead.values


def _conditions(
    db: sqlite3.Connection,
    since: str | None,
    period: tuple[str, str] | None,
    moment: int,
    *,
    in_runs: bool,
) -> tuple[str, tuple[object, ...]]:
    where, values = "", list[object]()
    if since is not None:
        # the key bounds what is looked at; a clock put back may leave older versions behind it
        first = reading.first_key_since(db, since)
        where += f" AND resource.pk >= ? AND {RECORDED} >= ?"
        values += [first, since]
        if in_runs:
            where += " AND search.last >= ?"
            values.append(first)
    if period is not None:
        where += f" AND {RECORDED} < ? AND coalesce({_REPLACED} > ?, TRUE)"
        values += [period[1], moment, period[0]]
    return where, tuple(values)


def _key(after: str) -> int:
    """Return the key that a place names; one that nobody gave lies behind the end."""
    is_key = after.isascii() and after.isdigit() and len(after) < 19
    return int(after) if is_key else 0
