"""Right minus left, for every angle and end measured in the same way on both sides.

An end of extension counts on its own axis: what it falls short of straight, less what it goes
beyond. There, the smaller value is more motion and straight is 0, so it has neither a ratio nor a
lesser side.

The threshold is the same-rater measurement error of the joint: a smaller difference can come from
measuring alone. A difference says nothing about which side is the healthy one.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from brachium.assess.reference import error_of
from brachium.assess.values import end_position, in_base_unit
from brachium.assess.verdicts import OUTSIDE
from brachium.exam.findings import Motion

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.assess.judgement import Judgement
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

SIDE_RULE = "side-difference/1.2"
NEITHER_NORMAL = "both sides lie outside their reference, so neither serves as normal"

_Measured: TypeAlias = "tuple[Leaf, Decimal]"


class Comparison(NamedTuple):
    """What both sides must share to be compared (empty text where nothing was stated)."""

    joint: str
    digit: str
    motion: str
    mode: str
    arm_position: str
    method: str


class Threshold(NamedTuple):
    """The same-rater measurement error of a joint, in degrees, and where it comes from."""

    value: Decimal
    source: str


class SideDifference(NamedTuple):
    """Right minus left in degrees.

    ``ratio`` is right as a percentage of left, one decimal, ``None`` when left is 0; ``lesser`` is
    the side with the smaller value, empty when equal; an end has neither;
    ``flagged`` is ``None`` without a threshold; ``sources`` are the keys of the right and the left
    leaf; ``both_outside`` warns that a comparison takes no side as normal, because neither is.
    """

    what: Comparison
    value: Decimal
    ratio: Decimal | None
    lesser: str
    threshold: Threshold | None
    flagged: bool | None
    right: Leaf
    left: Leaf
    both_outside: bool = False
    rule: str = SIDE_RULE

    @property
    def ends(self) -> bool:
        """Whether the sides are ends of extension: right minus left above 0 is right short."""
        return _ends(self.right)

    @property
    def is_told(self) -> bool:
        """Whether an answer speaks of it: a large difference, or no healthy side to compare."""
        return bool(self.flagged) or self.both_outside

    @property
    def sources(self) -> tuple[str, str]:
        """The keys of the right and the left leaf."""
        return self.right.key, self.left.key

    @property
    def key(self) -> str:
        """A stable key within the exam. No leaf has it: a leaf key has one slash at most."""
        return "side-difference/" + "/".join(word or "-" for word in self.what)


def side_differences(
    leaves: Iterable[Leaf], ranges: Mapping[str, Judgement], tables: Tables
) -> tuple[SideDifference, ...]:
    """Return one difference per comparison that has exactly one value on each side."""
    right: dict[Comparison, list[_Measured]] = {}
    left: dict[Comparison, list[_Measured]] = {}
    for leaf in leaves:
        finding = leaf.finding
        if not isinstance(finding, Motion) or finding.absent is not None:
            continue
        value = _degrees(finding, tables)
        if value is not None:
            sides = right if leaf.side == "right" else left
            sides.setdefault(_comparison(finding), []).append((leaf, value))
    return tuple(
        _difference(what, rights[0], left[what][0], ranges, tables)
        for what, rights in right.items()
        # two values for the same thing on one side: which one to compare would be a guess
        if len(rights) == 1 and len(left.get(what, ())) == 1
    )


def _degrees(finding: Motion, tables: Tables) -> Decimal | None:
    if finding.angle is None:
        return end_position(finding)
    return in_base_unit(finding.angle, tables.units[finding.angle.unit])


def _ends(leaf: Leaf) -> bool:
    return isinstance(leaf.finding, Motion) and leaf.finding.end is not None


def _comparison(finding: Motion) -> Comparison:
    return Comparison(
        finding.joint,
        finding.digit or "",
        finding.motion,
        finding.mode,
        finding.arm_position or "",
        finding.method or "",
    )


def _difference(
    what: Comparison,
    right: _Measured,
    left: _Measured,
    ranges: Mapping[str, Judgement],
    tables: Tables,
) -> SideDifference:
    value = right[1] - left[1]
    threshold = _threshold(what.joint, tables)
    ends = _ends(right[0])
    return SideDifference(
        what,
        value,
        (right[1] * 100 / left[1]).quantize(Decimal("0.1")) if left[1] and not ends else None,
        "" if ends or not value else ("right" if value < 0 else "left"),
        threshold,
        None if threshold is None else abs(value) > threshold.value,
        right[0],
        left[0],
        _is_outside(ranges, right[0]) and _is_outside(ranges, left[0]),
    )


def _is_outside(ranges: Mapping[str, Judgement], leaf: Leaf) -> bool:
    judged = ranges.get(leaf.key)
    return judged is not None and judged.interpretation in OUTSIDE


@lru_cache(maxsize=1024)
def _threshold(joint: str, tables: Tables) -> Threshold | None:
    row = error_of(joint, tables)
    return None if row is None else Threshold(row.value, row.source)
