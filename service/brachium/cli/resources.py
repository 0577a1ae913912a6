"""``brachium export`` without a table: every resource, a file of NDJSON for each type."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from brachium.api.bulk_values import since
from brachium.bulk.folders import Writing
from brachium.bulk.lines import line, unreadable
from brachium.bulk.steps import Place, Walk
from brachium.bulk.wanted import TYPES, Wanted
from brachium.cli.copies import by_command
from brachium.cli.shown import FAULTY, OK, USAGE, complain, show

if TYPE_CHECKING:
    from brachium.wiring import Parts


def export(asked: argparse.Namespace, parts: Parts) -> int:
    """Write the newest version of every resource, as of one moment that is told at the end."""
    if asked.format != "ndjson" or asked.out == "-" or asked.low or asked.high:
        complain("without --view: --format ndjson --out FOLDER, with --type and --since if need be")
        return USAGE
    wanted = Wanted(types=tuple(asked.types or TYPES), since=asked.since and since(asked.since))
    limits = {"_type": ",".join(wanted.types), "_since": wanted.since}
    # before the first resource leaves, as the service does it
    parts.store.record(by_command("export", "/fhir/$export", urlencode(limits)))
    cut = parts.jobs.cut(parts.clock())
    folder = Path(asked.out)
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    walk = Walk(parts.store, parts.jobs, _no_filter, wanted, cut.at)
    spoiled = sum(_written(walk, number, folder) for number in range(len(wanted.types)))
    show(f"everything stored up to {cut.moment} is in {folder}")
    return FAULTY if spoiled else OK


def _written(walk: Walk, number: int, folder: Path) -> int:
    """Write the file of one type, if there is anything of it; return what cannot be read."""
    kind, spoiled = walk.wanted.types[number], 0
    with Writing(folder / f"{kind}.ndjson", "output", kind) as file:
        for step in walk.of_type(Place(number)):
            for row in step.rows:
                text = line(row, (), lambda whole, _kind, _elements: whole)
                if text is None:
                    spoiled += 1
                    complain(unreadable(row).message)
                else:
                    file.add([text])
        if file.count:
            file.finished()
            show(f"{kind}: {file.count}")
    return spoiled


def _no_filter(_kind: str, _query: str, _at: int) -> tuple[()]:
    return ()
