"""The tables of the SQLite store, and how a file written by an older version gets up to date.

What was stored is in ``exam``, ``exam_version``, ``resource_version`` and ``member``; triggers
refuse to change or delete any of it, and of ``audit``. The other tables are there to find it.

``member`` holds the resources of an exam version in their order. New resources of one exam get
consecutive keys, so a member row is a run of keys, and most exams have three or four.

``shown`` names the prompts of an assessment by rule and version, with spaces between them.

``waiting`` holds what is stored but not yet in ``resource_id`` and ``search``; see ``index.py``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing

from brachium.store import clients, job_rows, secrets
from brachium.store.port import StoreUnavailable

_TABLES = """
CREATE TABLE exam (
  pk INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  system TEXT NOT NULL,
  value TEXT NOT NULL,
  organization TEXT NOT NULL,
  UNIQUE (system, value)
) STRICT;

CREATE TABLE exam_version (
  pk INTEGER PRIMARY KEY,
  exam INTEGER NOT NULL REFERENCES exam,
  version INTEGER NOT NULL CHECK (version > 0),
  status TEXT NOT NULL,
  recorded TEXT NOT NULL,
  digest TEXT NOT NULL,
  edition TEXT NOT NULL,
  reason TEXT NOT NULL,
  shown TEXT NOT NULL,
  problems BLOB NOT NULL,
  assessment BLOB NOT NULL,
  content BLOB NOT NULL,
  UNIQUE (exam, version)
) STRICT;

-- origin is the exam version that brought the resource version, and so says when it was stored
CREATE TABLE resource_version (
  pk INTEGER PRIMARY KEY,
  type TEXT NOT NULL,
  id TEXT NOT NULL,
  version INTEGER NOT NULL CHECK (version > 0),
  origin INTEGER NOT NULL REFERENCES exam_version,
  text BLOB NOT NULL
) STRICT;

CREATE TABLE member (
  exam_version INTEGER NOT NULL REFERENCES exam_version,
  position INTEGER NOT NULL,
  first INTEGER NOT NULL REFERENCES resource_version,
  last INTEGER NOT NULL REFERENCES resource_version CHECK (last >= first),
  PRIMARY KEY (exam_version, position)
) STRICT, WITHOUT ROWID;

-- entry is canonical JSON; hash is SHA-256 over the number, the hash before and the entry
CREATE TABLE audit (
  number INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  entry BLOB NOT NULL,
  hash BLOB NOT NULL
) STRICT;

CREATE TABLE audit_term (
  parameter TEXT NOT NULL,
  value TEXT NOT NULL,
  number INTEGER NOT NULL REFERENCES audit,
  PRIMARY KEY (parameter, value, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE checkpoint (
  number INTEGER NOT NULL REFERENCES audit,
  at TEXT NOT NULL,
  hash TEXT NOT NULL,
  signature TEXT NOT NULL,
  PRIMARY KEY (number, at)
) STRICT, WITHOUT ROWID;

CREATE TABLE shared (
  type TEXT NOT NULL,
  id TEXT NOT NULL,
  latest INTEGER NOT NULL REFERENCES resource_version,
  PRIMARY KEY (type, id)
) STRICT, WITHOUT ROWID;

-- what exams of an organization share with those of others, and the key from which on it is seen
CREATE TABLE seen (
  organization TEXT NOT NULL,
  type TEXT NOT NULL,
  id TEXT NOT NULL,
  since INTEGER NOT NULL,
  PRIMARY KEY (organization, type, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE waiting (
  first INTEGER PRIMARY KEY,
  last INTEGER NOT NULL
) STRICT;

CREATE TABLE resource_id (
  type TEXT NOT NULL,
  id TEXT NOT NULL,
  version INTEGER NOT NULL,
  resource_version INTEGER NOT NULL,
  PRIMARY KEY (type, id, version, resource_version)
) STRICT, WITHOUT ROWID;

CREATE TABLE search (
  type TEXT NOT NULL,
  parameter TEXT NOT NULL,
  value TEXT NOT NULL,
  first INTEGER NOT NULL,
  last INTEGER NOT NULL,
  PRIMARY KEY (type, parameter, value, first)
) STRICT, WITHOUT ROWID;

-- parameters that are compared and sorted by: the value at a key, for dates by runs of one value
-- that never overlap, for quantities by single keys
CREATE TABLE ordered (
  type TEXT NOT NULL,
  parameter TEXT NOT NULL,
  first INTEGER NOT NULL,
  last INTEGER NOT NULL,
  value TEXT NOT NULL,
  PRIMARY KEY (type, parameter, first, value)
) STRICT, WITHOUT ROWID;

CREATE INDEX ordered_by_value ON ordered (type, parameter, value, first);
-- dates have an end too, which the periods asked for are compared with
CREATE INDEX ordered_by_end ON ordered (type, parameter, substr(value, 26), first, last)
WHERE substr(value, 25, 1) = '/';
CREATE INDEX audit_by_time ON audit (at);
CREATE INDEX by_origin ON resource_version (origin);
CREATE INDEX by_time ON exam_version (recorded);

CREATE VIEW stored_exam AS
SELECT exam_version.pk, exam.id, system, value, version, status, recorded, content, digest,
  problems, edition, assessment, reason, shown, organization
FROM exam JOIN exam_version ON exam_version.exam = exam.pk;

CREATE VIEW stored_resource AS
SELECT resource.pk, resource.type, resource.id, resource.version, origin.recorded AS updated,
  resource.text
FROM resource_version AS resource JOIN exam_version AS origin ON origin.pk = resource.origin;

CREATE TABLE readiness (asked INTEGER NOT NULL) STRICT;
INSERT INTO readiness VALUES (0);
"""

KEPT = ("exam", "exam_version", "resource_version", "member", "audit", "checkpoint")

_REFUSAL = """
CREATE TRIGGER {table}_never_{event} BEFORE {event} ON {table}
BEGIN SELECT RAISE(ABORT, 'what is stored is never changed'); END;
"""


def _create(db: sqlite3.Connection) -> None:
    refusals = [
        _REFUSAL.format(table=table, event=event)
        for table in KEPT
        for event in ("UPDATE", "DELETE")
    ]
    for script in (_TABLES, *refusals):
        for statement in _statements(script):
            db.execute(statement)


def _add_clients(db: sqlite3.Connection) -> None:
    for statement in _statements(clients.TABLES + job_rows.TABLES):
        db.execute(statement)


def _add_secrets(db: sqlite3.Connection) -> None:
    for statement in _statements(secrets.TABLES):
        db.execute(statement)


def _refuse_drafts(db: sqlite3.Connection) -> None:
    """Refuse a file of the time before the first release, when tables changed without a step."""
    with closing(sqlite3.connect(":memory:")) as whole:
        for step in _DRAFTS:
            step(whole)
        if _made(db) != _made(whole):
            raise StoreUnavailable("the file was made before the first release; begin a new one")


def _made(db: sqlite3.Connection) -> set[tuple[str, str]]:
    return set(db.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"))


def _statements(script: str) -> list[str]:
    """Split a script; ``executescript`` would commit and so break the one transaction."""
    found, so_far = [], ""
    for line in script.splitlines(keepends=True):
        so_far += line
        if sqlite3.complete_statement(so_far):
            found.append(so_far)
            so_far = ""
    return found


_DRAFTS = (_create, _add_clients, _add_secrets)
# the step at place n turns a file of version n into one of version n + 1
STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (*_DRAFTS, _refuse_drafts)
VERSION = len(STEPS)


def migrate(db: sqlite3.Connection) -> None:
    """Bring a file up to date in one transaction; refuse one that is not ours or is newer."""
    if _version(db) == VERSION:
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        # asked again: another process may have done it while this one waited
        found = _version(db)
        _check(db, found)
        for step in STEPS[found:]:
            step(db)
        db.execute(f"PRAGMA user_version = {VERSION:d}")
        db.execute("COMMIT")
    except BaseException:
        db.execute("ROLLBACK")
        raise


def check(db: sqlite3.Connection) -> None:
    """Refuse a file that is not ours, is newer than this service, or has nothing in it."""
    found = _version(db)
    _check(db, found)
    if found == 0:
        raise StoreUnavailable("the file has no exams of this service in it")


def _version(db: sqlite3.Connection) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def _check(db: sqlite3.Connection, found: int) -> None:
    if found > VERSION:
        raise StoreUnavailable(f"the database has version {found}, this service knows {VERSION}")
    if found == 0 and db.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone():
        raise StoreUnavailable("the file is a database of something else")
