"""Connections to the SQLite file: one that writes, and as many as needed that only read."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from brachium.store.comparing import teach
from brachium.store.port import Contradiction, StoreUnavailable

# milliseconds that a connection waits for a lock of another process
_BUSY = 10_000
# Bytes. A leaf has room for several resources, which are one to three kB each; with the usual 4096
# a third of each page stays empty and has to be written all the same.
_PAGE = 8192
# pages; the write-ahead log is carried over into the file when it has grown to about 16 MB
_CHECKPOINT = 2000
# KiB of pages kept in memory by the writer; a lot of index entries touches thousands of them
_CACHE = 65_536


def translated(error: sqlite3.DatabaseError) -> Exception:
    """Return the exception of the port for one of the database; neither tells any values."""
    if isinstance(error, sqlite3.IntegrityError):
        return Contradiction(f"SQLite: {error}")
    return StoreUnavailable(f"SQLite: {getattr(error, 'sqlite_errorname', type(error).__name__)}")


@contextmanager
def available() -> Iterator[None]:
    """Raise the exceptions of the port in place of those of the database and its file."""
    try:
        yield
    except OSError as error:
        raise StoreUnavailable(f"the database file: {error.strerror}") from error
    except sqlite3.DatabaseError as error:
        raise translated(error) from error


def writer(path: Path) -> sqlite3.Connection:
    """Open or make the file; a commit is on the disk when it returns."""
    # made by hand, because SQLite would let everybody read it
    os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    db = _open(path)
    db.execute(f"PRAGMA page_size = {_PAGE:d}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute(f"PRAGMA cache_size = -{_CACHE:d}")
    db.execute(f"PRAGMA wal_autocheckpoint = {_CHECKPOINT:d}")
    # else INSERT OR REPLACE would delete behind the back of the triggers
    db.execute("PRAGMA recursive_triggers = ON")
    return db


def _open(path: Path) -> sqlite3.Connection:
    # no isolation level: transactions are opened and closed in our own words
    db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    db.execute(f"PRAGMA busy_timeout = {_BUSY:d}")
    return db


class DatabaseFile:
    """The file that was opened, as it lies on the disk."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._opened = path.stat().st_ino

    def is_there(self) -> bool:
        """Tell whether the path still leads to the file that is open.

        One that was moved or replaced can be written to, and what is written is found by nobody.
        """
        try:
            return self._path.stat().st_ino == self._opened
        except OSError:
            return False

    def size(self) -> int:
        """Return its bytes, with those of the write-ahead log; raises ``StoreUnavailable``."""
        log = self._path.with_name(self._path.name + "-wal")
        with available():
            return self._path.stat().st_size + (log.stat().st_size if log.exists() else 0)


class Readers:
    """Lends connections that only read; they run beside the writer and never wait for it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._idle: list[sqlite3.Connection] = []
        self._closed = False

    @contextmanager
    def lent(self) -> Iterator[sqlite3.Connection]:
        """Lend a connection, with everything read through it as of one moment."""
        with available():
            db = self._take()
            try:
                db.execute("BEGIN")
                yield db
            finally:
                db.execute("ROLLBACK")
                self._give_back(db)

    def close(self) -> None:
        """Close what is idle; what is lent is closed when it comes back."""
        self._closed = True
        while self._idle:
            self._idle.pop().close()

    def _take(self) -> sqlite3.Connection:
        if self._closed:
            raise StoreUnavailable("the store is closed")
        try:
            return self._idle.pop()
        except IndexError:
            db = _open(self._path)
            teach(db)
            db.execute("PRAGMA query_only = ON")
            return db

    def _give_back(self, db: sqlite3.Connection) -> None:
        if self._closed:
            db.close()
        else:
            self._idle.append(db)
