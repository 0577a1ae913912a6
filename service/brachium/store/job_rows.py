"""The book of export jobs in the SQLite file; several processes may share it."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from brachium.store import reading
from brachium.store.jobs import Cut, Job, JobState, NewJob, OutputFile
from brachium.store.port import Overtaken
from brachium.store.searching import newest_key
from brachium.store.sorting import Place

if TYPE_CHECKING:
    from brachium.store.commits import SharedCommits
    from brachium.store.connections import Readers

TABLES = """
-- the moment of the newest cut; nothing may be stored with this stamp or an earlier one
CREATE TABLE cut (moment TEXT NOT NULL) STRICT;
INSERT INTO cut VALUES ('');

CREATE TABLE export_job (
  id TEXT PRIMARY KEY,
  client TEXT NOT NULL,
  request TEXT NOT NULL,
  wanted BLOB NOT NULL,
  begun TEXT NOT NULL,
  at INTEGER NOT NULL,
  moment TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('running', 'complete', 'failed')),
  place TEXT NOT NULL,
  written INTEGER NOT NULL,
  finished TEXT NOT NULL,
  expires TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE export_file (
  job TEXT NOT NULL REFERENCES export_job ON DELETE CASCADE,
  name TEXT NOT NULL,
  kind TEXT NOT NULL CHECK (kind IN ('output', 'error')),
  type TEXT NOT NULL,
  lines INTEGER NOT NULL,
  size INTEGER NOT NULL,
  digest TEXT NOT NULL,
  PRIMARY KEY (job, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE export_member (
  job TEXT NOT NULL REFERENCES export_job ON DELETE CASCADE,
  type TEXT NOT NULL,
  id TEXT NOT NULL,
  PRIMARY KEY (job, type, id)
) STRICT, WITHOUT ROWID;
"""

_COLUMNS = (
    "id, client, request, wanted, begun, at, moment, state, place, written, finished, expires"
)
_INSTANT = "%Y-%m-%dT%H:%M:%S.%f"


def refuse_overtaken(db: sqlite3.Connection, recorded: str) -> None:
    """Raise :class:`Overtaken` for a stamp that a cut says no more can come with.

    A stamp is read from the clock before the transaction that stores it, so a cut may be made
    between the two.
    """
    (moment,) = db.execute("SELECT moment FROM cut").fetchone()
    if recorded <= moment:
        raise Overtaken(moment)


def make_cut(db: sqlite3.Connection, now: str) -> Cut:
    """Cut through what is stored; the caller holds the transaction that writes."""
    newest = "SELECT max((SELECT moment FROM cut), (SELECT coalesce(max(recorded), '') FROM"
    (last,) = db.execute(f"{newest} exam_version))").fetchone()
    moment = max(now, _next(last)) if last else now
    db.execute("UPDATE cut SET moment = ?", (moment,))
    return Cut(newest_key(db), moment)


def _next(instant: str) -> str:
    later = datetime.fromisoformat(instant).astimezone(UTC) + timedelta(milliseconds=1)
    return later.strftime(_INSTANT)[:-3] + "Z"


def _job(*row: Any) -> Job:  # noqa: ANN401 - as it comes from the database
    job = Job(*row)
    return job._replace(state=JobState(job.state))


class SqliteJobs:
    """Implements :class:`brachium.store.jobs.JobBook`, which says what each method promises."""

    def __init__(self, commits: SharedCommits, readers: Readers) -> None:
        self._commits = commits
        self._readers = readers

    def cut(self, now: str) -> Cut:
        """Cut through everything that is stored."""
        return self._commits.run(lambda db: make_cut(db, now))

    def begin(self, job: NewJob, now: str, most: int) -> Job | None:
        """Accept a job and cut for it; ``None`` when its client has ``most`` running already."""

        def task(db: sqlite3.Connection) -> Job | None:
            running = "SELECT count(*) FROM export_job WHERE client = ? AND state = 'running'"
            if db.execute(running, (job.client,)).fetchone()[0] >= most:
                return None
            cut = make_cut(db, now)
            begun = (now, cut.at, cut.moment, JobState.RUNNING, "", 0, "", "")
            made = Job(job.id, job.client, job.request, job.wanted, *begun)
            marks = ", ".join("?" * len(made))
            db.execute(f"INSERT INTO export_job ({_COLUMNS}) VALUES ({marks})", made)  # noqa: S608 - our own words
            return made

        return self._commits.run(task)

    def find(self, job_id: str) -> Job | None:
        """Return a job."""
        return next(iter(self._jobs("WHERE id = ?", (job_id,))), None)

    def all(self) -> tuple[Job, ...]:
        """Return every job, the oldest first."""
        return self._jobs("ORDER BY begun, id", ())

    def _jobs(self, rest: str, values: tuple[str, ...]) -> tuple[Job, ...]:
        with self._readers.lent() as db:
            rows = db.execute(f"SELECT {_COLUMNS} FROM export_job {rest}", values).fetchall()  # noqa: S608 - our own words
        return tuple(_job(*row) for row in rows)

    def files(self, job_id: str) -> tuple[OutputFile, ...]:
        """Return the finished files of a job in their order."""
        with self._readers.lent() as db:
            rows = db.execute(
                "SELECT kind, type, name, lines, size, digest FROM export_file"
                " WHERE job = ? ORDER BY name",
                (job_id,),
            ).fetchall()
        return tuple(OutputFile(*row) for row in rows)

    def advance(self, job_id: str, place: str, files: Sequence[OutputFile]) -> bool:
        """Note finished files, and where to go on behind them; false when the job is gone."""
        written = sum(one.lines for one in files if one.kind == "output")

        def task(db: sqlite3.Connection) -> bool:
            done = db.execute(
                "UPDATE export_job SET place = ?, written = written + ? WHERE id = ?",
                (place, written, job_id),
            )
            if done.rowcount != 1:
                return False
            db.executemany(
                "INSERT INTO export_file (job, kind, type, name, lines, size, digest)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                [(job_id, *one) for one in files],
            )
            return True

        return self._commits.run(task)

    def end(self, job_id: str, state: JobState, now: str, expires: str) -> None:
        """Say that nothing more is done for a job."""

        def task(db: sqlite3.Connection) -> None:
            db.execute(
                "UPDATE export_job SET state = ?, finished = ?, expires = ? WHERE id = ?",
                (state.value, now, expires, job_id),
            )
            db.execute("DELETE FROM export_member WHERE job = ?", (job_id,))

        self._commits.run(task)

    def drop(self, job_id: str) -> bool:
        """Forget a job and its files; false when it is not there."""

        def task(db: sqlite3.Connection) -> bool:
            return db.execute("DELETE FROM export_job WHERE id = ?", (job_id,)).rowcount == 1

        return self._commits.run(task)

    def add_members(self, job_id: str, names: Sequence[tuple[str, str]]) -> None:
        """Note resources, by type and id, that a job is limited to; repeating changes nothing."""

        def task(db: sqlite3.Connection) -> None:
            db.executemany(
                "INSERT INTO export_member (job, type, id)"
                " SELECT id, ?, ? FROM export_job WHERE id = ? ON CONFLICT DO NOTHING",
                [(*name, job_id) for name in names],
            )

        self._commits.run(task)

    def members(self, job_id: str, kind: str, after: str, count: int) -> tuple[str, ...]:
        """Return ids of a type that a job is limited to, in their order, behind ``after``."""
        with self._readers.lent() as db:
            rows = db.execute(
                "SELECT id FROM export_member WHERE job = ? AND type = ? AND id > ?"
                " ORDER BY id LIMIT ?",
                (job_id, kind, after, count),
            ).fetchall()
        return tuple(row[0] for row in rows)

    def since(self, moment: str) -> str:
        """Return the place in a search without an order before which nothing is so new."""
        with self._readers.lent() as db:
            return Place((reading.first_key_since(db, moment) - 1,)).text

    def newest(self, kind: str, identity: str, at: int) -> int:
        """Return the newest version of a resource as of a cut; 0 when there is none."""
        with self._readers.lent() as db:
            (found,) = db.execute(
                "SELECT coalesce(max(version), 0) FROM resource_id"
                " WHERE type = ? AND id = ? AND resource_version <= ?",
                (kind, identity, at),
            ).fetchone()
        return int(found)
