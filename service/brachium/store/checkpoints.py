"""Signed heads of the audit: what the chain has to lead to for ever (matrix AUD-12)."""

from __future__ import annotations

import sqlite3

from brachium.records import AuditHead
from brachium.store.chain import BEGINNING


def head(db: sqlite3.Connection) -> AuditHead:
    """Return the end of the chain, without a signature."""
    query = "SELECT number, hash, at FROM audit ORDER BY number DESC LIMIT 1"
    number, link, at = db.execute(query).fetchone() or (0, BEGINNING, "")
    return AuditHead(number, link.hex(), at)


def keep(db: sqlite3.Connection, head: AuditHead) -> None:
    """Keep a signed head; the same one again changes nothing."""
    db.execute(
        "INSERT INTO checkpoint (number, at, hash, signature) VALUES (?, ?, ?, ?)"
        " ON CONFLICT DO NOTHING",
        (head.number, head.at, head.hash, head.signature),
    )
