"""``check``, ``bundle`` and ``tables check``: the work of the service without the service."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Collection
from pathlib import Path

from brachium.cli.shown import FAULTY, OK, USAGE, complain, lines, show
from brachium.coding.shape import prove
from brachium.formats.lossless import parse
from brachium.intake.receive import dry_run
from brachium.problems import Problem, Severity
from brachium.settings import Settings
from brachium.tables.check import faults
from brachium.tables.load import load
from brachium.wiring import coding_options, tools


def read(name: str, limit: int) -> bytes | None:
    """Return the bytes of a file or of standard input; ``None`` when they cannot be had."""
    try:
        if name == "-":
            raw = sys.stdin.buffer.read(limit + 1)
        else:
            with Path(name).open("rb") as file:
                raw = file.read(limit + 1)
    except OSError as fault:
        complain(f"{name}: {fault.strerror}")
        return None
    if len(raw) > limit:
        complain(f"{name}: longer than the {limit} bytes that the service takes")
        return None
    return raw


def check(asked: argparse.Namespace, settings: Settings) -> int:
    """Say every problem of an exam, and whether it would be accepted."""
    raw = read(asked.file, settings.max_body)
    if raw is None:
        return USAGE
    receipt = dry_run(tools(settings).bench, raw)
    for line in lines(receipt.problems):
        show(line)
    accepted = receipt.exam is not None
    show("accepted" if accepted else "refused")
    return OK if accepted else FAULTY


def bundle(asked: argparse.Namespace, settings: Settings) -> int:
    """Write the bundle of an exam to standard output, and its problems to standard error."""
    raw = read(asked.file, settings.max_body)
    if raw is None:
        return USAGE
    made = tools(settings, lambda: asked.issued or effective(raw))
    receipt = dry_run(made.bench, raw)
    _mention(receipt.problems)
    if receipt.exam is None:
        return FAULTY
    sys.stdout.buffer.write(made.framer.framed(receipt.exam, receipt.resources, asked.type))
    sys.stdout.buffer.flush()
    return OK


def _mention(problems: Collection[Problem]) -> None:
    """Tell errors and warnings; notes on codes are only counted, ``check`` lists them."""
    loud = [one for one in problems if one.severity is not Severity.INFORMATION]
    for line in lines(loud):
        complain(line)
    quiet = sum(one.severity is Severity.INFORMATION for one in problems)
    if quiet:
        complain(f"{quiet} notes; brachium check lists them")


def effective(raw: bytes) -> str:
    """Return the time of an exam that has passed every rule, as it was written."""
    value: str = parse(raw)["effective"]
    return value


def check_tables(asked: argparse.Namespace, settings: Settings) -> int:
    """List every fault of a folder of tables, then of what is coded with them."""
    places = (asked.directory or settings.tables, settings.overlay)
    found = faults(*places) or prove(load(*places), coding_options(settings))
    for fault in found:
        show(fault)
    show(f"{len(found)} faults" if found else "the tables are sound")
    return FAULTY if found else OK
