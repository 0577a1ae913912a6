"""Search by equality, over the newest version of each resource; the indexes must be complete."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from brachium.store import reading
from brachium.store.port import Page

_LARGEST = 2**63 - 1

# Runs of one value never overlap, so the last run that starts at or before a key is the only one
# that can hold it.
_HOLDS = (
    "(SELECT last FROM search WHERE type = ? AND parameter = ? AND value = ?"
    " AND first <= resource.pk ORDER BY first DESC LIMIT 1) >= resource.pk"
)
_NEWEST = (
    "NOT EXISTS (SELECT 1 FROM resource_id AS newer WHERE newer.type = resource.type"
    " AND newer.id = resource.id AND newer.version > resource.version)"
)


def found(
    db: sqlite3.Connection,
    kind: str,
    criteria: Sequence[tuple[str, str]],
    count: int,
    after: str | None,
) -> Page:
    """Return a page of the resources that meet every criterion."""
    hits, values = _hits(kind, criteria)
    # put together of the constants below; values never become part of a query
    total = db.execute(f"SELECT count(*) FROM ({hits})", values).fetchone()[0]  # noqa: S608
    query = f"SELECT pk FROM ({hits}) WHERE pk > ? ORDER BY pk LIMIT ?"  # noqa: S608
    keys = [row[0] for row in db.execute(query, (*values, _place(after), count + 1))]
    page = keys[:count]
    following = str(page[-1]) if page and len(keys) > count else None
    return Page(total, reading.by_keys(db, page), following)


def _hits(kind: str, criteria: Sequence[tuple[str, str]]) -> tuple[str, list[str]]:
    """Return the query for the keys of all matches, and its values."""
    ids = [value for parameter, value in criteria if parameter == "_id"]
    rest = [pair for pair in criteria if pair[0] != "_id"]
    # the first criterion says where to look, the others are asked of what is there
    if rest and not ids:
        (parameter, value), *rest = rest
        source, values = _FROM_VALUE, [kind, parameter, value]
    else:
        source, values = _FROM_ID, [kind]
    conditions = [_NEWEST, *("resource_id.id = ?" for _ in ids)]
    values += ids
    for parameter, value in rest:
        conditions.append(_HOLDS)
        values += [kind, parameter, value]
    return f"{source} AND {' AND '.join(conditions)}", values


_FROM_VALUE = (
    "SELECT resource.pk FROM search"
    " CROSS JOIN resource_version AS resource ON resource.pk BETWEEN search.first AND search.last"
    " WHERE search.type = ? AND search.parameter = ? AND search.value = ?"
)
_FROM_ID = (
    "SELECT resource.pk FROM resource_id"
    " CROSS JOIN resource_version AS resource ON resource.pk = resource_id.resource_version"
    " WHERE resource_id.type = ?"
)


def _place(after: str | None) -> int:
    if after is None:
        return 0
    is_key = after.isascii() and after.isdigit() and int(after) <= _LARGEST
    return int(after) if is_key else _LARGEST
