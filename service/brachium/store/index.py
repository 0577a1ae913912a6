"""The indexes by id and by search value, filled in lots.

Ids are random, so 140 new ones go to 140 places of an index, and each place is a whole page to
write: three times as much as the resources themselves. Stored exams therefore wait in ``waiting``,
in the same transaction and as durable as everything else, until a lot of them can be entered in
order; or until somebody wants to use the indexes, who then never sees less than what is stored.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from brachium.store.terms import Row, unpack

# blocks; some 50 ms of work, for which one caller in so many has to wait
LOT = 32


def is_complete(db: sqlite3.Connection) -> bool:
    """Tell whether everything stored is in the indexes."""
    return db.execute("SELECT 1 FROM waiting LIMIT 1").fetchone() is None


def is_due(db: sqlite3.Connection) -> bool:
    """Tell whether a lot is waiting."""
    return bool(db.execute("SELECT count(*) >= ? FROM waiting", (LOT,)).fetchone()[0])


def complete(db: sqlite3.Connection) -> None:
    """Enter everything that waits."""
    db.execute(
        "INSERT INTO resource_id (type, id, version, resource_version)"
        " SELECT type, id, version, pk FROM waiting CROSS JOIN resource_version"
        " ON pk BETWEEN first AND last ORDER BY type, id, version"
    )
    db.executemany(
        "INSERT INTO search (type, parameter, value, first, last) VALUES (?, ?, ?, ?, ?)",
        sorted(_waiting_rows(db)),
    )
    db.execute("DELETE FROM waiting")


def _waiting_rows(db: sqlite3.Connection) -> Iterator[Row]:
    for start, packed in db.execute("SELECT first, terms FROM waiting"):
        yield from unpack(packed, start)
