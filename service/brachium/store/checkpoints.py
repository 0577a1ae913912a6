"""Signed heads of the audit: what the chain has to lead to for ever (matrix AUD-12).

Each one that is kept beside the chain is told in the chain, so that none can be taken away unseen.
"""

from __future__ import annotations

import hashlib
import sqlite3
from typing import TYPE_CHECKING

from brachium.records import AuditEntry, AuditHead
from brachium.store.chain import BEGINNING

if TYPE_CHECKING:
    from brachium.store.chain import Chain

ACTION = "checkpoint"


def head(db: sqlite3.Connection) -> AuditHead:
    """Return the end of the chain, without a signature."""
    query = "SELECT number, hash, at FROM audit ORDER BY number DESC LIMIT 1"
    number, link, at = db.execute(query).fetchone() or (0, BEGINNING, "")
    return AuditHead(number, link.hex(), at)


def last(db: sqlite3.Connection) -> int:
    """Return the number of the entry that the newest kept head is about, 0 without one."""
    return int(db.execute("SELECT coalesce(max(number), 0) FROM checkpoint").fetchone()[0])


def digest_of(head: AuditHead) -> str:
    """Return what the chain tells of a kept head."""
    told = f"{head.number} {head.at} {head.hash} {head.signature}"
    return hashlib.sha256(told.encode()).hexdigest()


def keep(db: sqlite3.Connection, head: AuditHead, chain: Chain) -> None:
    """Keep a signed head, and tell the chain; the same one again changes nothing."""
    done = db.execute(
        "INSERT INTO checkpoint (number, at, hash, signature) VALUES (?, ?, ?, ?)"
        " ON CONFLICT DO NOTHING",
        (head.number, head.at, head.hash, head.signature),
    )
    if done.rowcount == 1:
        chain.append(db, AuditEntry(head.at, ACTION, "done", digest=digest_of(head)))
