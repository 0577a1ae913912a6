"""Checks of what counts as a change: words resolve, and the rows of one measure agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.tables.change_rows import BETTER, BEYOND, DISTANCE, FORCE, GRADE, MEASURES
from brachium.tables.model_checks import unknown
from brachium.tables.strength_checks import SEXES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brachium.tables.change_rows import Detectable
    from brachium.tables.gather import Draft, Tables


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of reference/changes.csv."""
    ways: dict[tuple[str, str], str] = {}
    for one in draft.reads["changes"]:
        row, place = one.row, one.place
        yield from _words(row, place)
        yield from _item(draft.tables, row, place)
        if ways.setdefault((row.measure, row.item), row.better) != row.better:
            yield f"{place}: another row of {row.item} says the opposite of {row.better!r}"
        if row.value <= 0:
            yield f"{place}: value {row.value} is not above 0"
        if row.age_from > row.age_to:
            yield f"{place}: ages {row.age_from} to {row.age_to}"
        if (row.trials > 0) is not (row.measure == FORCE):
            yield f"{place}: {row.trials} trials of a {row.measure}"


def _words(row: Detectable, place: str) -> Iterator[str]:
    yield from unknown(place, "measure", [row.measure], MEASURES)
    yield from unknown(place, "better", [row.better], BETTER)
    yield from unknown(place, "direction", [row.direction], BEYOND)
    yield from unknown(place, "sex", [row.sex], SEXES)


def _item(tables: Tables, row: Detectable, place: str) -> Iterator[str]:
    """The value is compared in the base unit, and a grade has none."""
    if row.measure == GRADE:
        yield from unknown(place, "scale", [row.item], tables.scales)
        if row.unit:
            yield f"{place}: a step of a scale has no unit"
        return
    if row.unit not in _base_units(tables, row):
        yield f"{place}: {row.unit!r} is no base unit of {row.measure} {row.item!r}"


def _base_units(tables: Tables, row: Detectable) -> set[str]:
    motions = [one for one in tables.motions.values() if one.motion == row.item]
    tests = [one for one in tables.strength.values() if one.test == row.item]
    rows = motions if row.measure == DISTANCE else tests
    words = {unit for one in rows if one.measure == row.measure for unit in one.units}
    return {tables.units[word].base for word in words if word in tables.units}
