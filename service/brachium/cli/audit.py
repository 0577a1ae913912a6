"""``brachium audit``: the end of the trail, and whether all is as it was written."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

import orjson

from brachium.cli.shown import FAULTY, OK, USAGE, complain, show
from brachium.records import AuditHead
from brachium.security.heads import is_signed, read_key
from brachium.store.port import StoreUnavailable
from brachium.wiring import Heads, heads, opened

if TYPE_CHECKING:
    from brachium.settings import Settings

_MOST_BYTES = 65_536


def run(asked: argparse.Namespace, settings: Settings) -> int:
    """Carry one of the three actions out."""
    if not settings.database.is_file():
        complain(f"{settings.database}: there is no such file")
        return USAGE
    try:
        store = opened(settings)
    except StoreUnavailable as fault:
        complain(str(fault))
        return USAGE
    try:
        signing = heads(settings, store)
        if asked.action == "verify":
            return _verify(signing, asked.against)
        head = signing.head() if asked.action == "head" else signing.checkpoint()
        show(signing.text(head).decode())
    except (OSError, ValueError) as fault:
        complain(str(fault))
        return USAGE
    finally:
        store.close()
    return OK


def _verify(signing: Heads, against: Path | None) -> int:
    """Walk the whole trail; 1 when anything is not as it was written."""
    kept, problems = None, 0
    if against is not None:
        kept = _kept(against)
    for problem in signing.store.breaks(signing.is_signed, kept):
        problems += 1
        place = f"entry {problem.number}: " if problem.number else ""
        show(f"BROKEN  {place}{problem.what}")
    last = signing.store.head().number
    show(f"{last} entries, {problems} broken" if problems else f"{last} entries, all as written")
    return FAULTY if problems else OK


def _kept(path: Path) -> AuditHead:
    """Read a head that was kept elsewhere, with the key that came with it."""
    with path.open("rb") as file:
        told: dict[str, Any] = orjson.loads(file.read(_MOST_BYTES))
    head = AuditHead(*(told[name] for name in ("number", "hash", "at", "signature")))
    if not is_signed(head, read_key(orjson.dumps(told["key"]))):
        raise ValueError(f"{path}: the signature does not hold")
    return head


def add_arguments(made: argparse.ArgumentParser) -> None:
    """Describe the three actions to the parser."""
    actions = made.add_subparsers(dest="action", required=True, metavar="ACTION")
    words = {
        "head": "print the signed end of the trail",
        "checkpoint": "print it and keep it beside the trail too",
        "verify": "compare everything with what was written down when it was stored",
    }
    for name, told in words.items():
        one = actions.add_parser(name, help=told, description=f"{told.capitalize()}.")
        one.add_argument("--database", type=Path, help="SQLite file (default brachium.sqlite3)")
        if name == "verify":
            one.add_argument(
                "--against", type=Path, metavar="FILE", help="a head that was kept elsewhere"
            )
