"""``brachium export``: a flat table into a file, whole or not at all."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO
from urllib.parse import urlencode

from brachium.bulk.wanted import TYPES
from brachium.cli import resources
from brachium.cli.copies import by_command
from brachium.cli.shown import OK, USAGE, complain
from brachium.export.flat import FlatTables, Window, window
from brachium.export.written import FORMATS
from brachium.store.port import StoreUnavailable
from brachium.wiring import build

if TYPE_CHECKING:
    from brachium.settings import Settings
    from brachium.wiring import Parts


def run(asked: argparse.Namespace, settings: Settings) -> int:
    """Write the table; the audit tells of it."""
    if not settings.database.is_file():
        complain(f"{settings.database}: there is no such database")
        return USAGE
    try:
        parts = build(settings)
    except StoreUnavailable as fault:
        complain(str(fault))
        return USAGE
    try:
        return _export(asked, parts)
    except (OSError, StoreUnavailable) as fault:
        complain(str(fault))
        return USAGE
    finally:
        parts.close()


def _export(asked: argparse.Namespace, parts: Parts) -> int:
    if asked.view is None:
        return resources.export(asked, parts)
    flat = FlatTables(parts.export)
    if asked.view not in flat.tables:
        complain(f"there is no table {asked.view}; there are {', '.join(flat.tables)}")
        return USAGE
    wanted: Window = window(asked.low, asked.high, asked.since)
    limits = {"from": asked.low, "to": asked.high, "since": asked.since}
    query = urlencode({name: text for name, text in limits.items() if text})
    with target(asked.out) as file:
        # before the first row leaves, as the service does it
        parts.store.record(by_command("export", f"/views/{asked.view}", query))
        for piece in flat.written(asked.view, asked.format, wanted):
            file.write(piece)
    return OK


@contextmanager
def target(name: str) -> Iterator[BinaryIO]:
    """Open what a command writes to: standard output, or a file that appears when it is whole.

    Only its owner can read the file. Raises ``OSError``.
    """
    if name == "-":
        yield sys.stdout.buffer
        sys.stdout.buffer.flush()
        return
    unfinished = Path(f"{name}.unfinished")
    handle = os.open(unfinished, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600)
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(name)
    finally:
        unfinished.unlink(missing_ok=True)


def add_arguments(made: argparse.ArgumentParser) -> None:
    """Describe the command to the parser."""
    made.add_argument(
        "--view", metavar="NAME", help="name of the table (default: the resources themselves)"
    )
    made.add_argument(
        "--type",
        dest="types",
        action="append",
        choices=TYPES,
        help="without --view: only this type; can be repeated",
    )
    made.add_argument("--format", choices=tuple(FORMATS), default="csv")
    made.add_argument("--out", default="-", metavar="FILE", help="a folder without --view")
    made.add_argument("--database", type=Path, help="SQLite file (default brachium.sqlite3)")
    day = "DATE"
    made.add_argument("--from", dest="low", type=_date, default="", metavar=day, help="examined")
    made.add_argument("--to", dest="high", type=_date, default="", metavar=day, help="examined")
    made.add_argument(
        "--since", type=_date, default="", metavar=day, help="recorded or changed then or later"
    )


def _date(text: str) -> str:
    try:
        window(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            "must be a date such as 2026-03-02, or a time with offset"
        ) from None
    return text
