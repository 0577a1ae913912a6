"""The leaves of one exam sorted by what they say, so that rules can compare them."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from brachium.exam.findings import Motion, Part, Quantity, Sign, Strength

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables
    from brachium.tables.rows import Grade, StrengthRow


# What was moved, apart from active or passive: joint, digit, side, motion, arm position
Place = tuple[str, str | None, str, str, str | None]


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
    """``reaches`` by place, then by mode; the rest in posted order.

    ``reversed`` holds active and passive reaches of one place where passive is less, and by how
    much.
    """

    reaches: dict[Place, dict[str, Reach]] = field(default_factory=dict)
    reversed: list[tuple[Reach, Reach, Decimal]] = field(default_factory=list)
    angles: dict[int, tuple[Leaf, Quantity]] = field(default_factory=dict)
    graded: list[Graded] = field(default_factory=list)
    forces: list[Force] = field(default_factory=list)
    signs: list[Leaf] = field(default_factory=list)
    parts: list[Leaf] = field(default_factory=list)


def gather(leaves: Iterable[Leaf], tables: Tables) -> Cells:
    """Sort the leaves; what the tables do not know is left out, other rules speak of it."""
    cells = Cells()
    for leaf in leaves:
        finding = leaf.finding
        if isinstance(finding, Motion):
            _motion(cells, leaf, finding, tables)
        elif isinstance(finding, Sign):
            cells.signs.append(leaf)
        elif isinstance(finding, Strength):
            _strength(cells, leaf, finding, tables)
        elif isinstance(finding, Part):
            cells.parts.append(leaf)
    return cells


def _motion(cells: Cells, leaf: Leaf, finding: Motion, tables: Tables) -> None:
    quantity = finding.angle
    value: Decimal
    if quantity is not None:
        value = quantity.value
        cells.angles.setdefault(leaf.index, (leaf, quantity))
    elif finding.end == "straight":
        value = Decimal(0)
    elif finding.end is not None and finding.magnitude is not None:
        quantity = finding.magnitude
        value = -quantity.value if finding.end == "short-of-straight" else quantity.value
    else:
        return
    row = tables.motions.get((finding.joint, finding.motion))
    if row is None or (quantity is not None and quantity.unit not in row.units):
        return
    place = (finding.joint, finding.digit, leaf.side, finding.motion, finding.arm_position)
    modes = cells.reaches.get(place)
    if modes is None:
        cells.reaches[place] = {finding.mode: Reach(leaf, value)}
        return
    modes.setdefault(finding.mode, Reach(leaf, value))
    if len(modes) == 2:
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
