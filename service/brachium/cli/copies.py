"""``brachium backup`` and ``brachium restore``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from brachium.cli.shown import FAULTY, OK, complain, show
from brachium.store import copies
from brachium.store.copies import UnfitCopy, digest_file
from brachium.store.port import StoreUnavailable

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from brachium.settings import Settings
    from brachium.store.port import Figures


def backup(asked: argparse.Namespace, settings: Settings) -> int:
    """Copy the database, whether the service runs or not."""
    return _told(lambda: copies.backup(settings.database, asked.file), asked.file)


def restore(asked: argparse.Namespace, settings: Settings) -> int:
    """Put a copy back where no database is."""
    return _told(lambda: copies.restore(asked.file, settings.database), settings.database)


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
