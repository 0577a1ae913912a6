"""Copies of the database: made while the service runs, and put back only where nothing is.

A copy is one file without a write-ahead log. Beside it lies its SHA-256, in the form that
``sha256sum --check`` reads.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from brachium.store import reading
from brachium.store.connections import available
from brachium.store.port import Figures
from brachium.store.schema import check

# pages that are copied before others get their turn
_PAGES = 2000


_NULL = re.compile(r"NULL value in (\w+)\.(\w+)")


class UnfitCopy(Exception):
    """A copy cannot be made or put back; nothing was changed. The text says why."""


def digest_file(copy: Path) -> Path:
    """Return where the digest of a copy lies."""
    return copy.with_name(copy.name + ".sha256")


def backup(database: Path, copy: Path) -> Figures:
    """Copy a database that may be in use, as of one moment, and say what is in the copy.

    Raises :class:`UnfitCopy`, also where the copy would overwrite something, and
    ``StoreUnavailable`` when the database cannot be read.
    """
    if not database.is_file():
        raise UnfitCopy(f"{database}: there is no such database")
    for path in (copy, digest_file(copy)):
        if path.exists():
            raise UnfitCopy(f"{path} exists and is not overwritten")
    with _unfinished(copy) as unfinished:
        with (
            available(),
            closing(sqlite3.connect(database)) as source,
            closing(sqlite3.connect(unfinished)) as target,
        ):
            source.backup(target, pages=_PAGES)
            target.execute("PRAGMA journal_mode = DELETE")
        figures = examined(unfinished)
        digest = _digest(unfinished)
        _place(unfinished, copy)
    digest_file(copy).write_text(f"{digest}  {copy.name}\n", encoding="utf-8")
    return figures


def restore(copy: Path, database: Path) -> Figures:
    """Put a copy where a database is to be, and say what is in it.

    Raises :class:`UnfitCopy` for a copy that is not the one that was made, and wherever a database
    is already.
    """
    beside = [database.with_name(database.name + ending) for ending in ("", "-wal", "-shm")]
    for path in beside:
        if path.exists():
            raise UnfitCopy(f"{path} exists and is not overwritten; move it away first")
    told = _told(copy)
    with _unfinished(database) as unfinished:
        shutil.copyfile(copy, unfinished)
        if _digest(unfinished) != told:
            raise UnfitCopy(f"{copy} is not the file that {digest_file(copy).name} tells of")
        figures = examined(unfinished)
        _place(unfinished, database)
    return figures


def examined(path: Path) -> Figures:
    """Return what is in a copy; raises :class:`UnfitCopy` for one that is damaged or not ours."""
    try:
        with closing(sqlite3.connect(path)) as db:
            check(db)
            faults = [*damage(db), *db.execute("PRAGMA foreign_key_check")]
            if faults:
                raise UnfitCopy(f"the database is damaged: {len(faults)} faults or more")
            return reading.figures(db, path.stat().st_size)
    except sqlite3.DatabaseError as error:
        name = getattr(error, "sqlite_errorname", type(error).__name__)
        raise UnfitCopy(f"the database is damaged: {name}") from error


def damage(db: sqlite3.Connection) -> list[str]:
    """Return what SQLite finds damaged; not all of it, if there is a lot.

    Before 3.42 it takes a column of a table without rowid for another, and tells of a NULL where
    there is none. That is looked up, and where it would fill the list the tables are asked singly.
    """
    found = _complaints(db, "PRAGMA integrity_check")
    real = [line for line in found if _is_so(db, line)]
    if real or not found:
        return real
    names = [row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    lines = (line for name in names for line in _complaints(db, f"PRAGMA integrity_check({name})"))
    return [line for line in lines if _is_so(db, line)]


def _complaints(db: sqlite3.Connection, question: str) -> list[str]:
    return [line for (line,) in db.execute(question) if line != "ok"]


def _is_so(db: sqlite3.Connection, line: str) -> bool:
    told = _NULL.fullmatch(line)
    if told is None:
        return True
    # IS NULL would not look, because the column cannot be
    query = f"SELECT 1 FROM {told[1]} WHERE typeof({told[2]}) = 'null' LIMIT 1"  # noqa: S608 - ours
    return db.execute(query).fetchone() is not None


def _told(copy: Path) -> str:
    path = digest_file(copy)
    if not copy.is_file() or not path.is_file():
        raise UnfitCopy(f"{copy} and {path.name} beside it are both needed")
    return path.read_text(encoding="utf-8").partition(" ")[0]


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def _unfinished(path: Path) -> Iterator[Path]:
    """Lend a file beside ``path`` that only its owner can read; it is gone afterwards."""
    unfinished = path.with_name(path.name + ".unfinished")
    os.close(os.open(unfinished, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600))
    try:
        yield unfinished
    finally:
        unfinished.unlink(missing_ok=True)


def _place(unfinished: Path, path: Path) -> None:
    """Give a whole file its name; whoever took the name meanwhile keeps it."""
    with unfinished.open("rb") as file:
        os.fsync(file.fileno())
    try:
        path.hardlink_to(unfinished)
    except FileExistsError:
        raise UnfitCopy(f"{path} exists and is not overwritten") from None
