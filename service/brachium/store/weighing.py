"""How many rows a lead has, older versions included: asked of the indexes alone."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from brachium.store.ranges import TIME, Range
from brachium.store.terms import ANY

if TYPE_CHECKING:
    from brachium.store.leads import Lead

# runs that are looked at to see how much a value leads to
_PROBED = 500
# more rows than any store has: what leads to too many to be worth counting
_TOO_MANY = 2**62


def held(db: sqlite3.Connection, kind: str, parameter: str) -> int:
    """Return how many rows have a parameter at all."""
    query = (
        "SELECT coalesce(sum(last - first + 1), 0) FROM search"
        " WHERE type = ? AND parameter = ? AND value = ?"
    )
    return int(db.execute(query, (kind, parameter, ANY)).fetchone()[0])


def in_runs(db: sqlite3.Connection, lead: Lead) -> int:
    """Return about how many rows a value leads to, older versions included.

    The runs are looked at in the order of keys; when there are more, they are taken to be as close
    together up to the newest key.
    """
    held, end, probed = db.execute(
        "SELECT coalesce(sum(last - first + 1), 0), coalesce(max(last), 1), count(*)"
        " FROM (SELECT first, last FROM search WHERE type = ? AND parameter = ? AND value = ?"
        " ORDER BY first LIMIT ?)",
        (*lead.values, _PROBED),
    ).fetchone()
    if probed < _PROBED:
        return int(held)
    newest = db.execute("SELECT max(pk) FROM resource_version").fetchone()[0]
    return int(held * newest // end)


def in_range(db: sqlite3.Connection, kind: str, parameter: str, found: Range, most: int) -> int:
    """Return how many rows a range leads to, or something larger from ``most`` on."""
    sql, bounds = found.condition
    if found.column == TIME:
        # the condition is made of constants; values never become part of a query
        query = (
            "SELECT count(*) FROM (SELECT 1 FROM exam_version CROSS JOIN resource_version"  # noqa: S608
            f" ON origin = exam_version.pk WHERE {sql} LIMIT ?)"
        )
        return int(db.execute(query, (*bounds, most)).fetchone()[0])
    query = (
        "SELECT coalesce(sum(last - first + 1), 0), count(*) FROM (SELECT first, last"  # noqa: S608
        f" FROM ordered WHERE type = ? AND parameter = ? AND {sql} LIMIT ?)"
    )
    held, probed = db.execute(query, (kind, parameter, *bounds, most)).fetchone()
    return int(held) if probed < most else _TOO_MANY
