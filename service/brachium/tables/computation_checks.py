"""Checks of what is computed: every motion resolves, every grading covers every value."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from brachium.tables.computation_rows import ARC, LAG, WINDOW
from brachium.tables.model_checks import MODES, unknown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from brachium.tables.computation_rows import Band, Chain, Reach
    from brachium.tables.gather import Draft, Tables


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of computations, axes, windows, chains, bands and reaches."""
    tables = draft.tables
    yield from unknown("reference", "computation", (ARC, LAG, WINDOW), tables.computations)
    for one in draft.reads["computations"]:
        if one.row.unit:
            yield from unknown(one.place, "unit", [one.row.unit], tables.units)
    yield from _axes(draft)
    yield from _windows(draft)
    for one in draft.reads["chains"]:
        yield from _chain(tables, one.row, one.place)
    for one in draft.reads["reaches"]:
        yield from _reach(tables, one.row, one.place)
    for (computation, chain), rows in tables.bands.items():
        yield from _bands(tables, computation, chain, rows)


def _axes(draft: Draft) -> Iterator[str]:
    motions = draft.tables.motions
    for one in draft.reads["axes"]:
        row = one.row
        first, second = motions.get((row.joint, row.first)), motions.get((row.joint, row.second))
        if first is None or second is None or first.opposite != row.second:
            yield f"{one.place}: {row.first} and {row.second} are not opposite in {row.joint}"
        elif second.measure != "angle" or first.measure not in ("angle", "end"):
            yield f"{one.place}: {row.second} is no angle, or {row.first} no angle and no end"


def _windows(draft: Draft) -> Iterator[str]:
    axes = {(axis.joint, axis.second) for axis in draft.tables.axes}
    for one in draft.reads["windows"]:
        if (one.row.joint, one.row.motion) not in axes:
            yield f"{one.place}: no axis of {one.row.joint} counts {one.row.motion} positive"
        if one.row.low >= one.row.high:
            yield f"{one.place}: low is not below high"


def _chain(tables: Tables, row: Chain, place: str) -> Iterator[str]:
    yield from unknown(place, "computation", [row.computation], tables.computations)
    yield from unknown(place, "joint", [row.joint, *row.joints], tables.joints)
    yield from unknown(place, "mode", [row.mode], MODES)
    digits = {tables.joints[joint].digits for joint in row.joints if joint in tables.joints}
    if len(digits) > 1:
        yield f"{place}: its joints do not belong to the same digits"
    for joint in row.joints:
        for motion, measure in ((row.reach, "angle"), (row.deficit, "end")):
            found = tables.motions.get((joint, motion))
            if found is None or found.measure != measure:
                yield f"{place}: {motion!r} of {joint!r} is no motion recorded as {measure}"
    if row.percent and not row.norm:
        yield f"{place}: a percentage needs a norm"


def _bands(tables: Tables, computation: str, chain: str, rows: Iterable[Band]) -> Iterator[str]:
    owner = [c for c in tables.chains if (c.computation, c.chain) == (computation, chain)]
    schemes: dict[str, list[Band]] = {}
    for row in rows:
        schemes.setdefault(row.scheme, []).append(row)
    for scheme, bands in schemes.items():
        place = f"reference/bands.csv: {computation} {chain} {scheme}"
        if not owner:
            yield f"{place}: no such chain"
        elif owner[0].norm is None and any(band.on == "percent" for band in bands):
            yield f"{place}: percent of no norm"
        floors = [band.floor for band in bands]
        if floors[-1] is not None or None in floors[:-1]:
            yield f"{place}: only the last word, and always that one, has no floor"
        known = [floor for floor in floors if floor is not None]
        if any(better <= worse for better, worse in pairwise(known)):
            yield f"{place}: floors do not fall"
        if [band.rank for band in bands] != list(range(1, len(bands) + 1)):
            yield f"{place}: ranks do not count from 1"


def _reach(tables: Tables, row: Reach, place: str) -> Iterator[str]:
    yield from unknown(place, "computation", [row.computation], tables.computations)
    motion = tables.motions.get((row.joint, row.motion))
    if motion is None or motion.measure not in ("grade", "distance"):
        yield f"{place}: {row.joint} {row.motion} is no grade and no distance"
    elif not row.compares and motion.measure != "grade":
        yield f"{place}: a distance is only compared between the sides"
    if row.compares and not (row.more and row.less):
        yield f"{place}: a comparison needs the words more and less"
    other = tables.motions.get((row.joint, row.against))
    if row.against and (other is None or other.measure != "distance"):
        yield f"{place}: against {row.against!r} is no distance of the joint"
