"""What is read of exams and of single resources."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any

from brachium.records import ExamStatus, ExamVersion, StoredResource
from brachium.store.port import Contradiction, ExamPage, Figures

# larger than any key
_NO_KEY = 2**62
# names in one query
_AT_ONCE = 400


def exam(db: sqlite3.Connection, exam_id: str, version: int | None) -> ExamVersion | None:
    """Return an exam version, or the newest."""
    row = db.execute(
        "SELECT id, system, value, version, status, recorded, content, digest, problems, edition,"
        " assessment, reason, shown, organization FROM stored_exam"
        " WHERE id = ?1 AND (?2 IS NULL OR version = ?2) ORDER BY version DESC LIMIT 1",
        (exam_id, version),
    ).fetchone()
    return _exam(row) if row else None


def exam_by_identifier(db: sqlite3.Connection, system: str, value: str) -> ExamVersion | None:
    """Return the newest version of the exam with this identifier."""
    row = db.execute(
        "SELECT id, system, value, version, status, recorded, content, digest, problems, edition,"
        " assessment, reason, shown, organization FROM stored_exam WHERE system = ? AND value = ?"
        " ORDER BY version DESC LIMIT 1",
        (system, value),
    ).fetchone()
    return _exam(row) if row else None


def exams_of(db: sqlite3.Connection, patient_id: str) -> tuple[ExamVersion, ...]:
    """Return the newest version of every exam of a patient; the indexes must be complete.

    An exam has one report, so the index leads to one row for each version of an exam.
    """
    rows = db.execute(
        "SELECT id, system, value, version, status, recorded, content, digest, problems, edition,"
        " assessment, reason, shown, organization FROM stored_exam WHERE pk IN ("
        "SELECT (SELECT pk FROM exam_version AS newest WHERE newest.exam = origin.exam"
        " ORDER BY version DESC LIMIT 1) FROM search"
        " CROSS JOIN resource_version AS report ON report.pk BETWEEN search.first AND search.last"
        " CROSS JOIN exam_version AS origin ON origin.pk = report.origin"
        " WHERE search.type = 'DiagnosticReport' AND parameter = 'patient' AND search.value = ?)"
        " ORDER BY pk",
        (f"Patient/{patient_id}",),
    )
    return tuple(_exam(row) for row in rows)


def exams(
    db: sqlite3.Connection,
    since: str | None,
    count: int,
    at: int | None,
    after: int,
    organization: str = "",
) -> ExamPage:
    """Return exams in the version that was the newest at a moment, in the order of arrival."""
    moment = at
    if moment is None:
        (moment,) = db.execute("SELECT coalesce(max(pk), 0) FROM exam_version").fetchone()
    found = db.execute(
        "SELECT exam.pk, exam.id, system, value, version, status, recorded, content, digest,"
        " problems, edition, assessment, reason, shown, organization FROM exam"
        " JOIN exam_version AS newest ON newest.pk = (SELECT pk FROM exam_version"
        " WHERE exam = exam.pk AND pk <= ?1 ORDER BY version DESC LIMIT 1)"
        " WHERE exam.pk > ?2 AND (?3 IS NULL OR recorded >= ?3)"
        " AND ?4 IN ('', organization) ORDER BY exam.pk LIMIT ?5",
        (moment, after, since, organization, count + 1),
    ).fetchall()
    page = found[:count]
    following = page[-1][0] if len(found) > count else None
    return ExamPage(tuple(_exam(row[1:]) for row in page), moment, following)


def versions(db: sqlite3.Connection, exam_id: str) -> tuple[ExamVersion, ...]:
    """Return every version of an exam, oldest first."""
    rows = db.execute(
        "SELECT id, system, value, version, status, recorded, content, digest, problems, edition,"
        " assessment, reason, shown, organization FROM stored_exam WHERE id = ? ORDER BY version",
        (exam_id,),
    )
    return tuple(_exam(row) for row in rows)


def members(
    db: sqlite3.Connection, exam_id: str, version: int | None
) -> tuple[StoredResource, ...]:
    """Return the resources of an exam version, or of the newest, in their order."""
    # CROSS JOIN keeps SQLite to this order of tables, which is the order of the answer too
    rows = db.execute(
        "SELECT type, id, version, updated, text"
        " FROM member CROSS JOIN stored_resource AS resource ON resource.pk BETWEEN first AND last"
        " WHERE member.exam_version = (SELECT pk FROM stored_exam"
        " WHERE id = ?1 AND (?2 IS NULL OR version = ?2) ORDER BY version DESC LIMIT 1)"
        " ORDER BY position, resource.pk",
        (exam_id, version),
    )
    return _resources(rows)


def resource(
    db: sqlite3.Connection, kind: str, identity: str, version: int | None
) -> StoredResource | None:
    """Return a version of a resource, or the newest; the indexes must be complete."""
    # two rows, to see whether the version is there twice
    rows = db.execute(
        "SELECT resource.type, resource.id, resource.version, updated, text FROM resource_id"
        " JOIN stored_resource AS resource ON resource.pk = resource_version"
        " WHERE resource_id.type = ?1 AND resource_id.id = ?2"
        " AND (?3 IS NULL OR resource_id.version = ?3)"
        " ORDER BY resource_id.version DESC LIMIT 2",
        (kind, identity, version),
    )
    found = unambiguous(_resources(rows))
    return found[0] if found else None


def first_key_since(db: sqlite3.Connection, since: str) -> int:
    """Return a key before which nothing was stored at an instant or later.

    Both kinds of keys grow with every exam version that is stored.
    """
    found = db.execute(
        "SELECT pk FROM resource_version WHERE origin >="
        " (SELECT min(pk) FROM exam_version WHERE recorded >= ?) ORDER BY origin, pk LIMIT 1",
        (since,),
    ).fetchone()
    return int(found[0]) if found else _NO_KEY


def newest(db: sqlite3.Connection, names: Sequence[tuple[str, str]]) -> tuple[StoredResource, ...]:
    """Return the newest version of each resource that is there, in the order of the names.

    The indexes must be complete.
    """
    found: list[StoredResource] = []
    once = list(dict.fromkeys(names))
    for start in range(0, len(once), _AT_ONCE):
        lot = once[start : start + _AT_ONCE]
        given = ", ".join(["(?, ?)"] * len(lot))
        # a lot of question marks; names never become part of a query
        rows = db.execute(
            "SELECT resource.type, resource.id, resource.version, updated, text"  # noqa: S608
            f" FROM (VALUES {given}) AS named"
            " CROSS JOIN resource_id ON resource_id.type = column1 AND resource_id.id = column2"
            " AND resource_id.version = (SELECT max(version) FROM resource_id"
            " WHERE type = column1 AND id = column2)"
            " CROSS JOIN stored_resource AS resource ON resource.pk = resource_version",
            [text for name in lot for text in name],
        )
        found += _resources(rows)
    if len({(row.type, row.id) for row in found}) < len(found):
        raise Contradiction("a resource is stored twice under one version")
    return tuple(found)


def by_keys(db: sqlite3.Connection, keys: Iterable[int]) -> tuple[StoredResource, ...]:
    """Return the resource versions with these keys, in their order."""
    query = "SELECT type, id, version, updated, text FROM stored_resource WHERE pk = ?"
    return _resources(db.execute(query, (key,)).fetchone() for key in keys)


def figures(db: sqlite3.Connection, size: int) -> Figures:
    """Return how much is stored; nothing is ever deleted, so the last key is the count."""
    exams, versions, resources = (
        db.execute(f"SELECT coalesce(max(pk), 0) FROM {table}").fetchone()[0]  # noqa: S608 - ours
        for table in ("exam", "exam_version", "resource_version")
    )
    waiting = db.execute("SELECT coalesce(sum(last - first + 1), 0) FROM waiting").fetchone()[0]
    return Figures(exams, versions, resources, waiting, size)


def _exam(row: tuple[Any, ...]) -> ExamVersion:
    identity, system, value, version, status, *rest, shown, organization = row
    stored = (*rest, tuple(shown.split()), organization)
    return ExamVersion(identity, system, value, version, ExamStatus(status), *stored)


def _resources(rows: Iterable[tuple[Any, ...]]) -> tuple[StoredResource, ...]:
    return tuple(StoredResource(*row) for row in rows)


def unambiguous(rows: tuple[StoredResource, ...]) -> tuple[StoredResource, ...]:
    """Refuse two exams that claim the same resource: to choose one would hide the other."""
    if len({row.version for row in rows}) < len(rows):
        raise Contradiction("a resource is stored twice under one version")
    return rows
