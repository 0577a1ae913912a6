"""``brachium backup`` and ``brachium restore``."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from brachium.cli import audit
from brachium.cli.shown import FAULTY, OK, complain, show
from brachium.records import AuditEntry
from brachium.store import copies
from brachium.store.copies import UnfitCopy, digest_file
from brachium.store.port import StoreUnavailable
from brachium.wiring import key_file, opened, utc_now

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from brachium.settings import Settings
    from brachium.store.port import Figures


def backup(asked: argparse.Namespace, settings: Settings) -> int:
    """Copy the database, whether the service runs or not; the audit in the copy tells of it."""

    def task() -> Figures:
        if settings.database.is_file():
            store = opened(settings)
            try:
                store.record(by_command("backup"))
            finally:
                store.close()
        return copies.backup(settings.database, asked.file)

    return _told(task, asked.file)


def restore(asked: argparse.Namespace, settings: Settings) -> int:
    """Put a copy back where no database is, and walk its audit trail."""
    done = _told(lambda: copies.restore(asked.file, settings.database), settings.database)
    if done != OK:
        return done
    key = key_file(settings)
    if not key.is_file():
        show(f"{key}: the key of the audit is not here; put it there, then: brachium audit verify")
        return OK
    return audit.run(Namespace(action="verify", against=None), settings)


def by_command(what: str, path: str = "", query: str = "") -> AuditEntry:
    """Return the entry of the audit for what somebody at this machine has handed out."""
    return AuditEntry(
        utc_now(), "operation", "done", path=path, interaction="operation", query=query, reason=what
    )


def _told(task: Callable[[], Figures], written: Path) -> int:
    try:
        figures = task()
    except (UnfitCopy, StoreUnavailable) as fault:
        complain(str(fault))
        return FAULTY
    except OSError as fault:
        complain(f"{fault.filename}: {fault.strerror}")
        return FAULTY
    show(
        f"{written}: {figures.exams} exams in {figures.exam_versions} versions, "
        f"{figures.resource_versions} versions of resources, undamaged"
    )
    if digest_file(written).exists():
        show(f"{digest_file(written)}: its SHA-256; keep both together")
    return OK


def add_arguments(made: argparse.ArgumentParser) -> None:
    """Describe either command to the parser."""
    made.add_argument("file", metavar="FILE", type=Path, help="the copy; FILE.sha256 lies beside")
    made.add_argument("--database", type=Path, help="SQLite file (default brachium.sqlite3)")
