"""Checks of what is computed from strength: words resolve, figures rise, groups do not overlap."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from brachium.tables.model_checks import MODES, unknown
from brachium.tables.strength_rows import (
    DIRECTIONS,
    HOWS,
    LINEAR,
    POINTS,
    SCORE_SIDES,
    STRENGTH_COMPUTATIONS,
    SUMMARIES,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from brachium.tables.gather import Draft, Tables
    from brachium.tables.reader import Read
    from brachium.tables.strength_rows import Norm, PercentileRow, ScoreItem, ScorePoint

SEXES = ("female", "male", "any")


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of force references, cut-offs, scores and innervation."""
    tables = draft.tables
    yield from unknown("reference", "computation", STRENGTH_COMPUTATIONS, tables.computations)
    yield from _norms(draft)
    yield from _cutoffs(draft)
    yield from _unfit(draft)
    yield from _scores(draft)
    for one in draft.reads["score_items"]:
        yield from _item(tables, one.row, one.place)
    for (computation, order), rows in tables.score_points.items():
        yield from _points(tables, computation, order, rows)
    yield from _innervation(draft)


def _norms(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    positions = {option for kind, option in tables.options if kind == "position"} | {""}
    for one in draft.reads["norm_sets"]:
        yield from unknown(one.place, "summary", [one.row.summary], SUMMARIES)
        yield from unknown(one.place, "position", [one.row.position], positions)
    for name in ("force_norms", "force_percentiles"):
        for one in draft.reads[name]:
            yield from _norm(tables, one.row, one.place)
        yield from _overlaps(draft.reads[name])
    for one in draft.reads["force_percentiles"]:
        if any(low >= high for low, high in pairwise(one.row.values)):
            yield f"{one.place}: percentiles do not rise"
    yield from _dominance(draft)


def _overlaps(reads: Iterable[Read]) -> Iterator[str]:
    """Yield the groups of which one age has two. Rows are sorted by age within a group."""
    last: dict[tuple[str, ...], Read] = {}
    for one in reads:
        row = one.row
        group = (row.norm_set, row.joint, row.test, row.sex, row.side)
        if group in last and row.age_from <= last[group].row.age_to:
            yield f"{one.place}: overlaps in age with {last[group].place}"
        last[group] = one


def _dominance(draft: Draft) -> Iterator[str]:
    for one in draft.reads["dominance"]:
        yield from _force(draft.tables, one.row.joint, one.row.test, one.place)
        if one.row.factor <= 0:
            yield f"{one.place}: factor {one.row.factor} is not above 0"


def _norm(tables: Tables, row: Norm | PercentileRow, place: str) -> Iterator[str]:
    yield from unknown(place, "set", [row.norm_set], tables.norm_sets)
    yield from _force(tables, row.joint, row.test, place)
    test = tables.strength.get((row.joint, row.test))
    if test is not None:
        yield from unknown(place, f"unit of {row.test}", [row.unit], test.units)
    if row.age_from > row.age_to:
        yield f"{place}: ages {row.age_from} to {row.age_to}"
    if row.sd <= 0:
        yield f"{place}: a standard deviation of {row.sd}"


def _force(tables: Tables, joint: str, test: str, place: str) -> Iterator[str]:
    row = tables.strength.get((joint, test))
    if row is None or row.measure != "force":
        yield f"{place}: {joint} {test} is no force"


def _cutoffs(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["cutoffs"]:
        row, place = one.row, one.place
        yield from unknown(place, "computation", [row.computation], tables.computations)
        yield from unknown(place, "direction", [row.direction], DIRECTIONS)
        yield from unknown(place, "sex", [row.sex], SEXES)
        yield from unknown(place, "unit", filter(None, [row.unit]), tables.units)
        if (row.joint or row.test) and (row.joint, row.test) not in tables.strength:
            yield f"{place}: {row.joint} {row.test} is no strength test"
        if row.age_from > row.age_to:
            yield f"{place}: ages {row.age_from} to {row.age_to}"


def _unfit(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["unfit"]:
        row, place = one.row, one.place
        yield from unknown(place, "joint", row.joints, tables.joints)
        known = (
            [option for kind, option in tables.options if kind == "limiter"]
            if row.kind == "limiter"
            else [sign for part, sign in tables.signs if part == row.kind]
        )
        yield from unknown(place, row.kind, [row.item], known)


def _scores(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["scores"]:
        row, place = one.row, one.place
        yield from unknown(place, "computation", [row.computation], tables.computations)
        yield from unknown(place, "joint", [row.joint], tables.joints)
        yield from unknown(place, "sides", [row.sides], SCORE_SIDES)
        if row.computation not in tables.score_items:
            yield f"{place}: a score without items"
        elif not any(item.asks for item in tables.score_items[row.computation]):
            yield f"{place}: no item asks for the score"


def _item(tables: Tables, row: ScoreItem, place: str) -> Iterator[str]:
    yield from unknown(place, "score", [row.computation], tables.scores)
    yield from unknown(place, "how", [row.how], HOWS)
    yield from unknown(place, "mode", row.modes, MODES)
    motions = [row.gate, row.less] + ([row.item] if row.kind == "motion" else [])
    for motion in filter(None, motions):
        if (row.joint, motion) not in tables.motions:
            yield f"{place}: {motion!r} is no motion of {row.joint!r}"
    if row.kind == "strength" and (row.joint, row.item) not in tables.strength:
        yield f"{place}: {row.item!r} is no strength test of {row.joint!r}"
    if any(motions) and not row.modes:
        yield f"{place}: a motion needs its modes"
    if (row.how == LINEAR) != (row.factor is not None):
        yield f"{place}: a factor belongs to linear items, and to each of them"
    if (row.how == POINTS) != ((row.computation, row.order) in tables.score_points):
        yield f"{place}: rows of score_points.csv belong to items of points, and to each of them"
    if bool(row.gate) != (row.gate_from is not None):
        yield f"{place}: gate and gate_from need each other"
    yield from _item_digit(tables, row, place)


def _item_digit(tables: Tables, row: ScoreItem, place: str) -> Iterator[str]:
    found: tuple[str, ...] = tables.joints[row.joint].digits if row.joint in tables.joints else ()
    strength = tables.strength.get((row.joint, row.item))
    motion = tables.motions.get((row.joint, row.item))
    if row.kind == "strength" and strength is not None:
        found = strength.digits
    elif row.kind == "motion" and motion is not None and motion.digits:
        found = motion.digits
    if (row.digit or None) not in (found or (None,)):
        yield f"{place}: digit {row.digit!r} does not belong to {row.item!r} of {row.joint!r}"


def _points(
    tables: Tables, computation: str, order: int, rows: Iterable[ScorePoint]
) -> Iterator[str]:
    place = f"reference/score_points.csv: {computation} {order}"
    if not any(item.order == order for item in tables.score_items.get(computation, ())):
        yield f"{place}: no such item"
    floors = [row.floor for row in rows]
    if floors[-1] is not None or None in floors[:-1]:
        yield f"{place}: only the last row, and always that one, has no floor"
    known = [floor for floor in floors if floor is not None]
    if any(before <= after for before, after in pairwise(known)):
        yield f"{place}: floors do not fall"


def _innervation(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["suppliers"]:
        yield from unknown(one.place, "parent", filter(None, [one.row.parent]), tables.suppliers)
        parent = tables.suppliers.get(one.row.parent)
        if parent is not None and parent.order >= one.row.order:
            # a nerve that comes before its branches cannot be its own branch
            yield f"{one.place}: {one.row.parent} must come before its branch"
    kinds: dict[str, str] = {}
    for name in ("innervation", "innervation_notes"):
        for one in draft.reads[name]:
            row, place = one.row, one.place
            test = tables.strength.get((row.joint, row.test))
            if test is None or test.measure != "grade":
                yield f"{place}: {row.joint} {row.test} is no graded test"
            elif name == "innervation":
                yield from unknown(place, "digit", row.digits, test.digits)
                yield from unknown(place, "supplier", [row.supplier], tables.suppliers)
                supplier = tables.suppliers.get(row.supplier)
                if supplier and kinds.setdefault(row.scheme, supplier.kind) != supplier.kind:
                    yield f"{place}: {row.scheme} mixes nerves and roots"
