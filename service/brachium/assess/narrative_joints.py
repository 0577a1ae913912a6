"""The findings of one joint side by side, and the differences between its sides, in words."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.sides import NEITHER_NORMAL
from brachium.assess.verdicts import verdict
from brachium.assess.wording import Topic, circumstances, named, result, row_label, topic
from brachium.tables.concepts import in_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.assess.assessment import Assessment
    from brachium.assess.sides import Comparison, SideDifference
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

NOT_RECORDED = "not recorded"


class Row(NamedTuple):
    """One topic: what is recorded of the right, of the left, or of both sides compared.

    Of a topic that compares the sides only ``both`` is filled; of any other only the two sides.
    """

    label: str
    right: str = ""
    left: str = ""
    both: str = ""


def rows_of(leaves: Iterable[Leaf], assessment: Assessment, tables: Tables) -> tuple[Row, ...]:
    """Return one row per topic, in the order of the leaves."""
    cells: dict[Topic, dict[str, list[str]]] = {}
    for leaf in leaves:
        sides = cells.setdefault(topic(leaf), {})
        sides.setdefault(leaf.side, []).append(_cell(leaf, assessment, tables))
    return tuple(_row(about, sides, tables) for about, sides in cells.items())


def _row(about: Topic, sides: dict[str, list[str]], tables: Tables) -> Row:
    label = row_label(about, tables)
    label = label[:1].upper() + label[1:]
    if "both" in sides:
        return Row(label, both="; also ".join(sides["both"]))
    right, left = ("; also ".join(sides.get(side, [NOT_RECORDED])) for side in ("right", "left"))
    return Row(label, right, left)


def _cell(leaf: Leaf, assessment: Assessment, tables: Tables) -> str:
    how = circumstances(leaf, tables)
    said = result(leaf, tables) + verdict(assessment.ranges.get(leaf.key), tables)
    return f"{said} ({how})" if how else said


def differences_of(
    differences: Iterable[SideDifference], tables: Tables, *, named_in_full: bool = False
) -> list[str]:
    """Return right minus left in words, in the order of keys."""
    ordered = sorted(differences, key=lambda one: one.key)
    return [_difference(one, tables, named_in_full=named_in_full) for one in ordered]


def _difference(one: SideDifference, tables: Tables, *, named_in_full: bool) -> str:
    text = f"{_compared(one.what, named_in_full, tables)}: right minus left {one.value:f} degrees"
    if one.ratio is not None:
        text += f" (right is {one.ratio:f} percent of left)"
    if one.ends and one.value:
        text += f" (right ends {'short of' if one.value > 0 else 'beyond'} left)"
    neither = f"; {NEITHER_NORMAL}" if one.both_outside else ""
    if one.threshold is None:
        return f"{text}, without a known measurement error{neither}"
    more = "more" if one.flagged else "no more"
    error = f"{one.threshold.value:f} degrees ({one.threshold.text}; rule {one.rule})"
    return f"{text}, {more} than measuring alone explains, {error}{neither}"


@lru_cache(maxsize=4096)
def _compared(what: Comparison, named_in_full: bool, tables: Tables) -> str:
    about = Topic(
        what.joint, "motion", False, what.motion, what.digit, "", what.mode, what.arm_position
    )
    name = named(about, "both", tables) if named_in_full else row_label(about, tables)
    if what.methods:
        labels = (in_text(tables.methods[method].label) for method in what.methods)
        name += f", {' and '.join(labels)}"
    return name[:1].upper() + name[1:]
