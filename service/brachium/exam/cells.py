"""The leaves of one exam sorted by what they say, so that rules can compare them."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from operator import itemgetter
from typing import TYPE_CHECKING, Any, NamedTuple

from brachium.exam.findings import Motion, Part, Quantity, Sign, Strength

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables
    from brachium.tables.rows import Grade, StrengthRow


# What was moved, apart from active or passive: side, joint, digit, motion, arm position
Place = tuple[str, str, str | None, str, str | None]
DEGREES = "deg"


class Reach(NamedTuple):
    """How far it went, in degrees: an angle, or the signed end (short of straight is negative)."""

    leaf: Leaf
    value: Decimal


class Graded(NamedTuple):
    """A strength grade that the table knows."""

    leaf: Leaf
    row: StrengthRow
    grade: Grade


class Force(NamedTuple):
    """A row of trials, in the base unit of force, in the order of the trials."""

    leaf: Leaf
    row: StrengthRow
    trials: tuple[Decimal, ...]


@dataclass(slots=True)
class Cells:
    """``reaches`` by place, then by mode; ``angles`` by index; the rest in posted order.

    ``places`` are those of ``reaches``, by side, joint and digit.

    ``repeated`` pairs the first leaf with each later one that answers the same question;
    ``limited`` are reaches that something limited; ``reversed`` holds active and passive reaches of
    one place where passive is less, and by how much; ``comparisons`` are signs about both sides.
    """

    reaches: dict[Place, dict[str, Reach]] = field(default_factory=dict)
    places: dict[tuple[str, str, str | None], list[Place]] = field(default_factory=dict)
    reversed: list[tuple[Reach, Reach, Decimal]] = field(default_factory=list)
    limited: list[Reach] = field(default_factory=list)
    repeated: list[tuple[Leaf, Leaf]] = field(default_factory=list)
    angles: dict[int, Quantity] = field(default_factory=dict)
    graded: list[Graded] = field(default_factory=list)
    forces: list[Force] = field(default_factory=list)
    comparisons: list[Leaf] = field(default_factory=list)
    signs: list[Leaf] = field(default_factory=list)
    parts: list[Leaf] = field(default_factory=list)

    def modes_at(self, place: Place) -> dict[str, Reach]:
        """Return what is known of a place by mode, to be added to."""
        modes = self.reaches.get(place)
        if modes is None:
            modes = self.reaches[place] = {}
            self.places.setdefault(place[:3], []).append(place)
        return modes


_ASKED: dict[type[Any], Callable[[dict[str, Any]], tuple[Any, ...]]] = {
    Motion: itemgetter("kind", "joint", "digit", "motion", "mode", "arm_position"),
    Sign: itemgetter("kind", "joint", "digit", "site", "sign"),
    Strength: itemgetter("kind", "joint", "digit", "test"),
    Part: itemgetter("kind", "joint", "digit", "part"),
}
_PLACE = itemgetter("joint", "digit", "motion", "arm_position")


def gather(leaves: Iterable[Leaf], tables: Tables) -> Cells:
    """Sort the leaves; what the tables do not know is left out, other rules speak of it."""
    cells = Cells()
    questions: dict[tuple[Any, ...], Leaf] = {}
    for leaf in leaves:
        finding, side = leaf.finding, leaf.side
        kind = type(finding)
        first = questions.setdefault((side, _ASKED[kind](finding.__dict__)), leaf)
        if first is not leaf and first.index != leaf.index:
            cells.repeated.append((first, leaf))
        if isinstance(finding, Motion):
            _motion(cells, leaf, finding)
        elif isinstance(finding, Sign):
            (cells.comparisons if side == "both" else cells.signs).append(leaf)
        elif isinstance(finding, Strength):
            _strength(cells, leaf, finding, tables)
        else:
            cells.parts.append(leaf)
    return cells


def _motion(cells: Cells, leaf: Leaf, finding: Motion) -> None:
    quantity = finding.angle
    if quantity is not None:
        value = quantity.value
        cells.angles.setdefault(leaf.index, quantity)
    elif finding.end == "straight":
        value = Decimal(0)
    elif finding.end is not None and (quantity := finding.magnitude) is not None:
        value = -quantity.value if finding.end == "short-of-straight" else quantity.value
    else:
        return
    if quantity is not None and quantity.unit != DEGREES:
        return
    reach = Reach(leaf, value)
    if finding.limited_by:
        cells.limited.append(reach)
    place = (leaf.side, *_PLACE(finding.__dict__))
    modes = cells.modes_at(place)
    if modes.setdefault(finding.mode, reach) is reach and len(modes) == 2:
        less = modes["active"].value - modes["passive"].value
        if less > 0:
            cells.reversed.append((modes["active"], modes["passive"], less))


def _strength(cells: Cells, leaf: Leaf, finding: Strength, tables: Tables) -> None:
    row = tables.strength.get((finding.joint, finding.test))
    if row is None:
        return
    if finding.grade is not None:
        grade = tables.scales.get(row.scale, {}).get(finding.grade)
        if grade is not None:
            cells.graded.append(Graded(leaf, row, grade))
    elif finding.trials:
        trials = tuple(in_base(trial, tables) for trial in finding.trials)
        known = tuple(trial for trial in trials if trial is not None)
        if len(known) == len(trials):
            cells.forces.append(Force(leaf, row, known))


def in_base(quantity: Quantity, tables: Tables) -> Decimal | None:
    """Return a value in the base unit of its dimension, or ``None`` for an unknown unit."""
    unit = tables.units.get(quantity.unit)
    return None if unit is None else quantity.value * unit.factor
