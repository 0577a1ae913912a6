"""Commits shared by those who write at the same moment.

The disk confirms a few hundred to a thousand commits a second, however small they are. Whoever gets
hold of the connection therefore carries out everything that waits, commits once, and the others
find their work done. Somebody alone pays nothing for it: there is no thread to wake.
"""

from __future__ import annotations

import sqlite3
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Generic, TypeVar, cast

from brachium.store.connections import translated
from brachium.store.port import StoreUnavailable

T = TypeVar("T")


class _Job(Generic[T]):
    """One piece of work: done when it is on the disk, or when it failed."""

    def __init__(self, task: Callable[[sqlite3.Connection], T]) -> None:
        self.task = task
        self.done = False
        self.error: BaseException | None = None
        self.value: T | None = None

    def result(self) -> T:
        if self.error is not None:
            raise self.error
        return cast("T", self.value)


class SharedCommits:
    """The only user of the connection that writes."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._turn = Lock()
        self._waiting: deque[_Job[object]] = deque()
        self._closed = False

    def run(self, task: Callable[[sqlite3.Connection], T]) -> T:
        """Carry ``task`` out in a transaction and return its result when that is on the disk.

        What the task raises is raised here, and undoes its own work only.
        """
        job = _Job(task)
        self._waiting.append(cast("_Job[object]", job))
        with self._turn:
            if self._closed:
                raise StoreUnavailable("the store is closed")
            if not job.done:
                waiting = range(len(self._waiting))
                self._carry_out_all([self._waiting.popleft() for _ in waiting])
        return job.result()

    def run_soon(self, task: Callable[[sqlite3.Connection], T], seconds: float) -> T:
        """Carry ``task`` out alone, and give up when nobody lets it begin within ``seconds``.

        It waits so long for other threads, and so long again for other processes.
        """
        job = _Job(task)
        if not self._turn.acquire(timeout=seconds):
            raise StoreUnavailable("others are writing")
        try:
            if self._closed:
                raise StoreUnavailable("the store is closed")
            with self._patience(seconds):
                self._carry_out_all([cast("_Job[object]", job)])
        finally:
            self._turn.release()
        return job.result()

    @contextmanager
    def _patience(self, seconds: float) -> Iterator[None]:
        """Wait for other processes only so long."""
        (usual,) = self._db.execute("PRAGMA busy_timeout").fetchone()
        self._db.execute(f"PRAGMA busy_timeout = {int(seconds * 1000):d}")
        try:
            yield
        finally:
            self._db.execute(f"PRAGMA busy_timeout = {usual:d}")

    def close(self) -> None:
        """Wait for the work under way, then close the connection."""
        with self._turn:
            self._closed = True
            self._db.close()

    def _carry_out_all(self, batch: list[_Job[object]]) -> None:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            for job in batch:
                self._carry_out(job)
            self._db.execute("COMMIT")
        except BaseException as error:
            self._undo(batch, error)
            if not isinstance(error, sqlite3.Error):
                raise
        finally:
            for job in batch:
                job.done = True

    def _carry_out(self, job: _Job[object]) -> None:
        self._db.execute("SAVEPOINT job")
        try:
            job.value = job.task(self._db)
        except Exception as error:
            # on a full disk SQLite has given up the whole transaction already
            if not self._db.in_transaction:
                raise
            self._db.execute("ROLLBACK TO job")
            job.error = _told(error)
        self._db.execute("RELEASE job")

    def _undo(self, batch: list[_Job[object]], error: BaseException) -> None:
        """Nothing of the batch is stored: say so to everybody in it."""
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")
        for job in batch:
            # each gets an exception of their own, because a traceback belongs to one thread
            job.error = job.error or StoreUnavailable(f"SQLite: {_name(error)}")


def _told(error: Exception) -> Exception:
    if not isinstance(error, sqlite3.DatabaseError):
        return error
    told = translated(error)
    told.__cause__ = error
    return told


def _name(error: BaseException) -> str:
    return str(getattr(error, "sqlite_errorname", type(error).__name__))
