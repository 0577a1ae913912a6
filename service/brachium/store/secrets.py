"""Random keys that the service makes for itself once and finds again after a restart."""

from __future__ import annotations

import secrets
import sqlite3
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brachium.store.commits import SharedCommits
    from brachium.store.connections import Readers

LENGTH = 32
TABLES = """
CREATE TABLE secret (
  name TEXT PRIMARY KEY,
  value BLOB NOT NULL
) STRICT, WITHOUT ROWID;
"""
_FIND = "SELECT value FROM secret WHERE name = ?"


def secret(commits: SharedCommits, readers: Readers, name: str) -> bytes:
    """Return the key of this name, 32 random bytes; the first who asks makes it."""
    with readers.lent() as db:
        found = db.execute(_FIND, (name,)).fetchone()
    if found is None:
        made = secrets.token_bytes(LENGTH)

        def task(db: sqlite3.Connection) -> tuple[bytes]:
            # another process may have made it meanwhile: the first one stays
            db.execute("INSERT INTO secret VALUES (?, ?) ON CONFLICT DO NOTHING", (name, made))
            kept: tuple[bytes] = db.execute(_FIND, (name,)).fetchone()
            return kept

        found = commits.run(task)
    return bytes(found[0])
