"""Right minus left, for every angle and end measured in the same way on both sides.

An end of extension counts on its own axis: what it falls short of straight, less what it goes
beyond. There, the smaller value is more motion and straight is 0, so it has neither a ratio nor a
lesser side.

The threshold is what measuring alone can make (errors.csv) for the motion, the instrument and the
one examiner of an exam. Sides that were measured by different instruments, or by one that is not
stated, are compared by the largest error that may hold. A difference says nothing about which side
is the healthy one.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from brachium.assess.errors import SAME, WITHIN_EXAM, Allowance, Two, allowance, instrument
from brachium.assess.options import AssessOptions
from brachium.assess.values import end_position, in_base_unit
from brachium.assess.verdicts import OUTSIDE
from brachium.exam.findings import Motion

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.assess.judgement import Judgement
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

SIDE_RULE = "side-difference/1.3"
NEITHER_NORMAL = "both sides lie outside their reference, so neither serves as normal"

_PUBLISHED = AssessOptions()
_NOT_STATED = "not-stated"


class Comparison(NamedTuple):
    """What both sides share (empty text where nothing was stated).

    ``method`` holds both, sorted and joined by "+", when the sides were measured differently.
    """

    joint: str
    digit: str
    motion: str
    mode: str
    arm_position: str
    method: str

    @property
    def methods(self) -> tuple[str, ...]:
        """The methods stated, of both sides."""
        return tuple(word for word in self.method.split("+") if word not in ("", _NOT_STATED))


class _Measured(NamedTuple):
    leaf: Leaf
    value: Decimal
    method: str


_Side: TypeAlias = "dict[Comparison, list[_Measured]]"


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
    threshold: Allowance | None
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
    leaves: Iterable[Leaf],
    ranges: Mapping[str, Judgement],
    tables: Tables,
    options: AssessOptions = _PUBLISHED,
) -> tuple[SideDifference, ...]:
    """Return one difference per comparison that has exactly one value on each side."""
    right: _Side = {}
    left: _Side = {}
    for leaf in leaves:
        finding = leaf.finding
        if not isinstance(finding, Motion) or finding.absent is not None:
            continue
        value = _degrees(finding, tables)
        if value is not None:
            sides = right if leaf.side == "right" else left
            one = _Measured(leaf, value, instrument(finding.method, tables))
            sides.setdefault(_comparison(finding), []).append(one)
    return tuple(
        _difference(what, one, other, ranges, tables, options)
        for whatever, rights in right.items()
        for what, one, other in _pairs(whatever, rights, left.get(whatever, []))
    )


def _pairs(
    whatever: Comparison, rights: list[_Measured], lefts: list[_Measured]
) -> Iterable[tuple[Comparison, _Measured, _Measured]]:
    """Yield what is compared. Of two values alike on one side, either one would be a guess."""
    if len(rights) == 1 and len(lefts) == 1:
        yield _by(whatever, rights[0], lefts[0]), rights[0], lefts[0]
        return
    for method in dict.fromkeys(one.method for one in rights):
        right = [one for one in rights if one.method == method]
        left = [one for one in lefts if one.method == method]
        if len(right) == 1 and len(left) == 1:
            yield _by(whatever, right[0], left[0]), right[0], left[0]


def _by(whatever: Comparison, right: _Measured, left: _Measured) -> Comparison:
    if right.method == left.method:
        return Comparison(*whatever[:-1], right.method) if right.method else whatever
    both = sorted(one.method or _NOT_STATED for one in (right, left))
    return Comparison(*whatever[:-1], "+".join(both))


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
        "",
    )


def _difference(
    what: Comparison,
    right: _Measured,
    left: _Measured,
    ranges: Mapping[str, Judgement],
    tables: Tables,
    options: AssessOptions,
) -> SideDifference:
    value = right.value - left.value
    methods = (right.method, left.method)
    two = Two(what.joint, what.motion, (what.mode, what.mode), methods, SAME, WITHIN_EXAM)
    threshold = allowance(two, tables, memory=options.memory_references)
    ends = _ends(right.leaf)
    ratio = None if ends or not left.value else right.value * 100 / left.value
    return SideDifference(
        what,
        value,
        None if ratio is None else ratio.quantize(Decimal("0.1")),
        "" if ends or not value else ("right" if value < 0 else "left"),
        threshold,
        None if threshold is None else abs(value) > threshold.value,
        right.leaf,
        left.leaf,
        _is_outside(ranges, right.leaf) and _is_outside(ranges, left.leaf),
    )


def _is_outside(ranges: Mapping[str, Judgement], leaf: Leaf) -> bool:
    judged = ranges.get(leaf.key)
    return judged is not None and judged.interpretation in OUTSIDE
