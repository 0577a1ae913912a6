"""The indexes by id and by search value, filled in lots.

Ids are random, so 140 new ones go to 140 places of an index, and each place is a whole page to
write; with the search values, indexes cost more than everything else together. Stored exams
therefore wait in ``waiting``, in the same transaction and as durable as everything else, until it
is quiet (see ``quiet.py``), until too many wait, or until somebody wants to use the indexes, who
then never sees less than what is stored.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from itertools import chain

from brachium.records import DATES, QUANTITIES, SearchValue
from brachium.store.belonging import ORGANIZATION, organization_of
from brachium.store.terms import ANY, Reader, Row, rows

# Blocks, of which an exam has one or two. Nobody who reads has to wait for more than MOST, about a
# second; who adds to so many enters a LOT of them first.
MOST = 256
LOT = 64
EVERYTHING = -1
_ORDERED = DATES | QUANTITIES


class Index:
    """The indexes of one store.

    ``read`` says what resources are found by; it sees what was stored together in one piece.
    """

    def __init__(self, read: Reader) -> None:
        self._read = read

    def enter(self, db: sqlite3.Connection, blocks: int = EVERYTHING) -> bool:
        """Enter the oldest blocks that wait, and tell whether there are more."""
        oldest = "SELECT first, last FROM waiting ORDER BY first LIMIT ?"
        waiting = db.execute(oldest, (blocks,)).fetchall()
        if not waiting:
            return False
        bound = waiting[-1][0]
        db.execute(
            "INSERT INTO resource_id (type, id, version, resource_version)"
            " SELECT type, id, version, pk FROM waiting CROSS JOIN resource_version"
            " ON pk BETWEEN first AND last WHERE first <= ? ORDER BY type, id, version",
            (bound,),
        )
        # in the order of the index, which halves the time
        found = sorted(chain.from_iterable(self._rows(db, *block) for block in waiting))
        _insert(db, "search", (row for row in found if not _is_ordered(row)))
        _insert(db, "ordered", (row for row in found if _is_ordered(row)))
        db.execute("DELETE FROM waiting WHERE first <= ?", (bound,))
        return not is_complete(db)

    def _rows(self, db: sqlite3.Connection, first: int, last: int) -> Iterator[Row]:
        query = "SELECT pk, type, text FROM resource_version WHERE pk BETWEEN ? AND ? ORDER BY pk"
        found = db.execute(query, (first, last)).fetchall()
        return rows(found, self._read, SearchValue(ORGANIZATION, organization_of(db, first)))


def is_complete(db: sqlite3.Connection, at: int | None = None) -> bool:
    """Tell whether everything stored is in the indexes, or everything up to a key."""
    query = "SELECT 1 FROM waiting WHERE ?1 IS NULL OR first <= ?1 LIMIT 1"
    return db.execute(query, (at,)).fetchone() is None


def is_due(db: sqlite3.Connection) -> bool:
    """Tell whether too many blocks wait."""
    return bool(db.execute("SELECT count(*) >= ? FROM waiting", (MOST,)).fetchone()[0])


def _insert(db: sqlite3.Connection, table: str, found: Iterable[Row]) -> None:
    columns = "type, parameter, value, first, last"
    db.executemany(f"INSERT INTO {table} ({columns}) VALUES (?, ?, ?, ?, ?)", found)  # noqa: S608


def _is_ordered(row: Row) -> bool:
    _, parameter, value, _, _ = row
    return parameter in _ORDERED and value != ANY
