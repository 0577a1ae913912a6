"""Resource versions that are stored together, made ready before the database is asked."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brachium.records import Resource


@dataclass(frozen=True, slots=True)
class Block:
    """New resource versions: type, id, version and text of each."""

    rows: tuple[tuple[str, str, int, bytes], ...]

    @classmethod
    def of(cls, numbered: Sequence[tuple[Resource, int]], updated: str) -> Block:
        """Make resources ready, each with its version; ``updated`` is a FHIR instant."""
        return cls(
            tuple((one.type, one.id, number, one.text(number, updated)) for one, number in numbered)
        )

    def store(self, db: sqlite3.Connection, origin: int) -> range:
        """Store the block and return its keys, in its order; ``origin`` is the exam version."""
        if not self.rows:
            return range(0)
        newest = "SELECT coalesce(max(pk), 0) FROM resource_version"
        start = db.execute(newest).fetchone()[0] + 1
        keys = range(start, start + len(self.rows))
        db.executemany(
            "INSERT INTO resource_version (pk, type, id, version, origin, text)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            [
                (key, kind, identity, version, origin, text)
                for key, (kind, identity, version, text) in zip(keys, self.rows, strict=True)
            ],
        )
        db.execute("INSERT INTO waiting (first, last) VALUES (?, ?)", (keys[0], keys[-1]))
        return keys
