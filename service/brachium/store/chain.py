"""The audit as a chain: each entry is hashed together with the one before (matrix AUD-07).

Who changes, removes, adds or moves an entry breaks every link behind it.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from typing import Any, TypeAlias

import orjson

from brachium.records import AuditEntry, AuditRow, SearchValue

# the hash before the first entry
BEGINNING = bytes(32)
# what an entry is found by
Terms: TypeAlias = Callable[[AuditEntry], Iterable[SearchValue]]
_LISTS = ("shown", "patients", "data")


def text_of(entry: AuditEntry) -> bytes:
    """Return an entry as canonical JSON: sorted members, nothing between them (RFC 8785).

    There are no numbers but small whole ones, for which orjson writes what the RFC wants.
    """
    return orjson.dumps(asdict(entry), option=orjson.OPT_SORT_KEYS)


def entry_of(text: bytes) -> AuditEntry:
    """Return the entry of its text; ``ValueError`` or ``TypeError`` for what is none."""
    members: dict[str, Any] = orjson.loads(text)
    return AuditEntry(**{**members, **{name: tuple(members[name]) for name in _LISTS}})


def link(number: int, before: bytes, text: bytes) -> bytes:
    """Return the hash of an entry in its place."""
    return hashlib.sha256(number.to_bytes(8, "big") + before + text).digest()


class Chain:
    """Adds to the chain of one store; the caller holds the transaction."""

    def __init__(self, terms: Terms) -> None:
        self._terms = terms

    def append(self, db: sqlite3.Connection, entry: AuditEntry) -> int:
        """Add an entry and return its number."""
        newest = "SELECT number, hash FROM audit ORDER BY number DESC LIMIT 1"
        last, before = db.execute(newest).fetchone() or (0, BEGINNING)
        number, text = last + 1, text_of(entry)
        db.execute(
            "INSERT INTO audit (number, at, entry, hash) VALUES (?, ?, ?, ?)",
            (number, entry.at, text, link(number, before, text)),
        )
        pairs = {(one.parameter, one.value) for one in self._terms(entry)}
        db.executemany(
            "INSERT INTO audit_term (parameter, value, number) VALUES (?, ?, ?)",
            [(*pair, number) for pair in sorted(pairs)],
        )
        return number


def rows(db: sqlite3.Connection, after: int, count: int) -> Iterator[AuditRow]:
    """Yield the entries behind a number, oldest first."""
    query = "SELECT number, hash, entry FROM audit WHERE number > ? ORDER BY number LIMIT ?"
    for number, link_of, text in db.execute(query, (after, count)):
        yield AuditRow(number, link_of.hex(), entry_of(text))
