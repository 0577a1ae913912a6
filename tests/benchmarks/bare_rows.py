"""The floor of a durable post: the same rows in one bare SQLite transaction each."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

WRITTEN = ("exam", "exam_version", "resource_version", "member", "audit", "resource_id", "search")


def rows_of_one_exam(database: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Return what one post wrote: all rows of an indexed database that holds one exam."""
    with closing(sqlite3.connect(database)) as db:
        return {table: db.execute(f"SELECT * FROM {table}").fetchall() for table in WRITTEN}


class BareRows:
    """Writes the rows again and again under new keys, with the durability of the service."""

    def __init__(self, path: Path, rows: Mapping[str, Sequence[tuple[Any, ...]]]) -> None:
        self._rows = rows
        self._db = sqlite3.connect(path, isolation_level=None)
        self._db.execute("PRAGMA journal_mode=WAL")
        self._db.execute("PRAGMA synchronous=FULL")
        self._inserts = {}
        for table, found in rows.items():
            places = len(found[0])
            columns = ", ".join(f"c{place}" for place in range(places))
            self._db.execute(f"CREATE TABLE {table} (pk INTEGER PRIMARY KEY, {columns})")
            marks = ", ".join("?" * places)
            self._inserts[table] = f"INSERT INTO {table} ({columns}) VALUES ({marks})"

    def write(self) -> None:
        """Write the rows of one exam in one durable transaction."""
        self._db.execute("BEGIN IMMEDIATE")
        for table, found in self._rows.items():
            self._db.executemany(self._inserts[table], found)
        self._db.execute("COMMIT")
