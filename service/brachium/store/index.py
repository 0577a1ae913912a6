"""The indexes by id and by search value, filled in lots.

Ids are random, so 140 new ones go to 140 places of an index, and each place is a whole page to
write; with the search values, indexes cost more than everything else together. Stored exams
therefore wait in ``waiting``, in the same transaction and as durable as everything else, until it
is quiet (see ``quiet.py``), until too many wait, or until somebody wants to use the indexes, who
then never sees less than what is stored.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from brachium.store.terms import Row, unpack

# Blocks, of which an exam has one or two. Nobody who reads has to wait for more than MOST, about a
# second; who adds to so many enters a LOT of them first.
MOST = 256
LOT = 64
EVERYTHING = -1


def is_complete(db: sqlite3.Connection) -> bool:
    """Tell whether everything stored is in the indexes."""
    return db.execute("SELECT 1 FROM waiting LIMIT 1").fetchone() is None


def is_due(db: sqlite3.Connection) -> bool:
    """Tell whether too many blocks wait."""
    return bool(db.execute("SELECT count(*) >= ? FROM waiting", (MOST,)).fetchone()[0])


def enter(db: sqlite3.Connection, blocks: int = EVERYTHING) -> bool:
    """Enter the oldest blocks that wait, and tell whether there are more."""
    oldest = "SELECT max(first) FROM (SELECT first FROM waiting ORDER BY first LIMIT ?)"
    (bound,) = db.execute(oldest, (blocks,)).fetchone()
    db.execute(
        "INSERT INTO resource_id (type, id, version, resource_version)"
        " SELECT type, id, version, pk FROM waiting CROSS JOIN resource_version"
        " ON pk BETWEEN first AND last WHERE first <= ? ORDER BY type, id, version",
        (bound,),
    )
    # in the order of the index, which halves the time
    db.executemany(
        "INSERT INTO search (type, parameter, value, first, last) VALUES (?, ?, ?, ?, ?)",
        sorted(_rows(db, bound)),
    )
    db.execute("DELETE FROM waiting WHERE first <= ?", (bound,))
    return not is_complete(db)


def _rows(db: sqlite3.Connection, bound: int | None) -> Iterator[Row]:
    for start, packed in db.execute("SELECT first, terms FROM waiting WHERE first <= ?", (bound,)):
        yield from unpack(packed, start)
