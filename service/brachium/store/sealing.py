"""The seal of an exam version: one digest over everything that was stored with it."""

from __future__ import annotations

import hashlib
import sqlite3
from typing import NamedTuple

_EXAM = (
    "SELECT exam.id, system, value, organization, version, status, recorded, exam_version.digest,"
    " edition, reason, shown, problems, assessment, content"
    " FROM exam_version JOIN exam ON exam.pk = exam_version.exam WHERE exam_version.pk = ?"
)
_RESOURCES = "SELECT pk, type, id, version, text FROM resource_version WHERE origin = ? ORDER BY pk"
_MEMBERS = "SELECT position, first, last FROM member WHERE exam_version = ? ORDER BY position"


class Seal(NamedTuple):
    """A digest in hex, and the number of resource versions in it."""

    digest: str
    resources: int


def seal(db: sqlite3.Connection, origin: int) -> Seal:
    """Return the seal of an exam version as it is stored now; ``LookupError`` without one.

    Exam, new resource versions with their keys, and the keys of all members, each field with its
    length in front, so that nothing can move from one field to the next unseen.
    """
    digest = hashlib.sha256()
    exam = db.execute(_EXAM, (origin,)).fetchone()
    if exam is None:
        raise LookupError("there is no such exam version")
    _take(digest, exam)
    resources = 0
    for row in db.execute(_RESOURCES, (origin,)):
        resources += 1
        _take(digest, row)
    digest.update(b"members")
    for row in db.execute(_MEMBERS, (origin,)):
        _take(digest, row)
    return Seal(digest.hexdigest(), resources)


def _take(digest: hashlib._Hash, row: tuple[object, ...]) -> None:
    for field in row:
        data = field if isinstance(field, bytes) else str(field).encode()
        digest.update(len(data).to_bytes(8, "big"))
        digest.update(data)
