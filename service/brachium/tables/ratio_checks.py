"""Checks of ratios: both distances can be recorded, and the levels lie in the order of a scale."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from brachium.tables.model_checks import unknown

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brachium.tables.gather import Draft, Tables
    from brachium.tables.ratio_rows import Ratio


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of ratios and of the levels on them."""
    tables = draft.tables
    for one in draft.reads["ratios"]:
        row = one.row
        known = tables.computations
        yield from unknown(one.place, "computation", [row.computation, row.difference], known)
        yield from _distance(tables, row, row.over, row.mode, one.place)
        yield from _distance(tables, row, row.under, row.under_mode, one.place)
        yield from _levels(tables, row, one.place)
    owners = {row.computation for row in tables.ratios}
    for one in draft.reads["ratio_levels"]:
        yield from unknown(one.place, "ratio", [one.row.computation], owners)


def _distance(tables: Tables, row: Ratio, motion: str, mode: str, place: str) -> Iterator[str]:
    found = tables.motions.get((row.joint, motion))
    if found is None or found.measure != "distance":
        yield f"{place}: {row.joint} {motion} is no distance"
    elif mode not in found.modes:
        yield f"{place}: {motion} is not recorded {mode}"
    elif found.digits or found.arm_positions:
        yield f"{place}: {motion} has digits or arm positions, which a ratio does not tell apart"


def _levels(tables: Tables, row: Ratio, place: str) -> Iterator[str]:
    scale = tables.scales.get(row.scale, {})
    levels = tables.ratio_levels.get(row.computation, ())
    grades = [level.grade for level in levels]
    lost = list(unknown(place, f"grade of {row.scale!r}", grades, scale))
    yield from lost
    ordinals = [] if lost else [scale[grade].ordinal for grade in grades]
    if any(below >= above for below, above in pairwise(ordinals)):
        yield f"{place}: its levels do not follow the order of {row.scale}"
    if any(above.percent <= below.percent for below, above in pairwise(levels)):
        yield f"{place}: two of its levels lie at one place"
