"""Walking the chain and everything it seals: the first broken link, and everything else found."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from typing import NamedTuple

from brachium.records import AuditEntry, AuditHead
from brachium.store import checkpoints
from brachium.store.chain import BEGINNING, entry_of, link
from brachium.store.sealing import seal


class Break(NamedTuple):
    """Something that is not as it was written; ``number`` is the entry it shows at, 0 for none."""

    number: int
    what: str


_STRAY = {
    "exams without a version": "SELECT count(*) FROM exam"
    " WHERE pk NOT IN (SELECT exam FROM exam_version)",
    "resources of no exam version": "SELECT count(*) FROM resource_version"
    " WHERE origin NOT IN (SELECT pk FROM exam_version)",
    "members of no exam version": "SELECT count(*) FROM member"
    " WHERE exam_version NOT IN (SELECT pk FROM exam_version)",
    # what is stored and cannot be found is as good as gone
    "resources that cannot be found by their id": "SELECT count(*) FROM resource_version AS one"
    " WHERE NOT EXISTS (SELECT 1 FROM resource_id AS way WHERE way.type = one.type"
    " AND way.id = one.id AND way.version = one.version AND way.resource_version = one.pk)"
    " AND NOT EXISTS (SELECT 1 FROM waiting WHERE one.pk BETWEEN first AND last)",
    "ids that lead nowhere": "SELECT count(*) FROM resource_id AS way WHERE NOT EXISTS"
    " (SELECT 1 FROM resource_version AS one WHERE one.pk = way.resource_version"
    " AND one.type = way.type AND one.id = way.id AND one.version = way.version)",
}
# whether a signature is ours and says what its head says
Signed = Callable[[AuditHead], bool]


def breaks(
    db: sqlite3.Connection, signed: Signed, kept: AuditHead | None = None
) -> Iterator[Break]:
    """Yield everything that is wrong, link by link; nothing when all is as it was written.

    ``kept`` is a head that was kept elsewhere: only it can show that the end was cut off, or that
    the whole chain was written anew.
    """
    sealed = 0
    hashes = _Heads(db, kept)
    before, expected = BEGINNING, 1
    for number, at, text, held in db.execute(
        "SELECT number, at, entry, hash FROM audit ORDER BY number"
    ):
        if number != expected:
            yield Break(number, f"entries {expected} to {number - 1} are missing")
        if held != link(number, before, text):
            yield Break(number, "the entry does not follow from the one before")
        entry = _entry(text)
        if entry is None or entry.at != at:
            yield Break(number, "the entry cannot be read")
        elif entry.seal:
            sealed += 1
            yield from _unsealed(db, number, entry)
        elif entry.action == checkpoints.ACTION:
            yield from hashes.told(number, entry.digest)
        yield from hashes.at(number, held.hex())
        before, expected = held, number + 1
    yield from hashes.rest()
    yield from _unaccounted(db, sealed)
    yield from _unsigned(db, signed)


def _entry(text: bytes) -> AuditEntry | None:
    try:
        return entry_of(text)
    except (ValueError, TypeError, KeyError):
        return None


def _unsealed(db: sqlite3.Connection, number: int, entry: AuditEntry) -> Iterator[Break]:
    query = (
        "SELECT exam_version.pk FROM exam_version JOIN exam ON exam.pk = exam"
        " WHERE id = ? AND version = ?"
    )
    row = db.execute(query, (entry.exam, entry.version)).fetchone()
    if row is None:
        yield Break(number, f"version {entry.version} of exam {entry.exam} is not stored")
        return
    found = seal(db, row[0])
    if (found.digest, found.resources) != (entry.seal, entry.stored):
        yield Break(number, f"version {entry.version} of exam {entry.exam} was changed")


def _unaccounted(db: sqlite3.Connection, sealed: int) -> Iterator[Break]:
    """What lies in the file and no entry tells of."""
    versions = db.execute("SELECT count(*) FROM exam_version").fetchone()[0]
    if versions != sealed:
        yield Break(0, f"there are {versions} exam versions, and the chain tells of {sealed}")
    for what, query in _STRAY.items():
        if count := db.execute(query).fetchone()[0]:
            yield Break(0, f"{count} {what}")


def _unsigned(db: sqlite3.Connection, signed: Signed) -> Iterator[Break]:
    for row in db.execute("SELECT number, hash, at, signature FROM checkpoint ORDER BY number, at"):
        if not signed(AuditHead(*row)):
            yield Break(row[0], "the signature of a checkpoint does not hold")


class _Heads:
    """Heads told earlier, compared with the chain as it is walked."""

    def __init__(self, db: sqlite3.Connection, kept: AuditHead | None) -> None:
        query = "SELECT number, hash, at, signature FROM checkpoint"
        heads = [AuditHead(*row) for row in db.execute(query)]
        self._untold = {checkpoints.digest_of(one): one.number for one in heads}
        self._wanted: dict[int, set[str]] = {}
        for one in (*heads, *([kept] if kept else [])):
            self._wanted.setdefault(one.number, set()).add(one.hash)

    def told(self, number: int, digest: str) -> Iterator[Break]:
        """An entry tells of a kept head."""
        if self._untold.pop(digest, None) is None:
            yield Break(number, "the checkpoint that the entry tells of is missing or changed")

    def at(self, number: int, held: str) -> Iterator[Break]:
        """An entry has this hash."""
        if self._wanted.pop(number, {held}) != {held}:
            yield Break(number, "the entry differs from what a signed head says of it")

    def rest(self) -> Iterator[Break]:
        """The chain has ended."""
        for number in sorted(self._wanted):
            yield Break(number, "a signed head tells of this entry, and it is missing")
        for number in sorted(self._untold.values()):
            yield Break(number, "no entry tells of a checkpoint at this one")
