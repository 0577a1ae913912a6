"""Rules about findings that cannot both be true, or hardly."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from brachium.exam.cells import Graded, Place, Reach
from brachium.exam.findings import Motion
from brachium.exam.numbers import written
from brachium.exam.rule import OWN, Case, Found, Founds, Rule, across, once
from brachium.problems import Severity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brachium.exam.leaves import Leaf

SAME_TESTER_ERROR = 5  # degrees; active-passive differences up to here are measurement
HARD_DIFFERENCE = 15  # degrees
AGAINST_GRAVITY = 3  # MRC grade from which a movement overcomes gravity
NO_MOVEMENT = 1  # MRC grade up to which nothing moves
FULL_SHARE = Decimal("0.75")  # of the handbook value: a range that grade 2 does not reach
WEAKER_HAND = Decimal("0.7")


def check_twice(case: Case) -> Founds:
    """One question has one answer in one exam."""
    found: dict[int, Found] = {}
    for first, leaf in case.cells.repeated:
        message = f"The same question is already answered by finding {first.index}."
        found.setdefault(leaf.index, Found(_at(leaf), message))
    return list(found.values())


def check_keys(case: Case) -> Founds:
    """Keys are unique: the key is the identity of a finding through all versions (EXM-02)."""
    if len({finding.key for _, finding in case.findings}) == len(case.findings):
        return []
    first: dict[str, int] = {}
    return [
        Found(f"/findings/{index}/key", f"Finding {first[finding.key]} has the same key.")
        for index, finding in case.findings
        if first.setdefault(finding.key, index) != index
    ]


def _at(leaf: Leaf, member: str = "") -> str:
    return f"/findings/{leaf.index}{member}"


def _value_at(leaf: Leaf) -> str:
    finding = leaf.finding
    if isinstance(finding, Motion):
        if finding.angle is not None:
            return _at(leaf, "/angle/value")
        return _at(leaf, "/magnitude/value" if finding.magnitude is not None else "/end")
    return _at(leaf)


def _passive_below(case: Case, above: int, upto: int | None) -> Founds:
    found: dict[str, Found] = {}
    for active, passive, less in case.cells.reversed:
        if less > above and (upto is None or less <= upto):
            message = (
                f"Passive motion ends {written(less)} deg before active motion of the same joint "
                f"(finding {active.leaf.index})."
            )
            pointer = _value_at(passive.leaf)
            found.setdefault(pointer, Found(pointer, message))
    return list(found.values())


def check_passive_hard(case: Case) -> Founds:
    """Passive motion far below active motion is two swapped fields."""
    return _passive_below(case, HARD_DIFFERENCE, None)


def check_passive_soft(case: Case) -> Founds:
    """Passive motion below active motion by more than measurement error is queried."""
    return _passive_below(case, SAME_TESTER_ERROR, HARD_DIFFERENCE)


def check_both_ends(case: Case) -> Founds:
    """One joint cannot end short of straight and beyond it in the same mode."""
    found: dict[int, Found] = {}
    for first, leaf in case.cells.repeated:
        one, other = first.finding, leaf.finding
        if not isinstance(one, Motion) or not isinstance(other, Motion):
            continue
        if {one.end, other.end} == {"short-of-straight", "beyond-straight"}:
            message = f"Finding {first.index} says the opposite about the same joint."
            found.setdefault(leaf.index, Found(_at(leaf, "/end"), message))
    return list(found.values())


def check_ends_crossed(case: Case) -> Founds:
    """The two ends of one movement lie apart, or at one place in a joint that does not move."""
    found: list[Found] = []
    for place, modes in case.cells.reaches.items():
        for mode, reach in modes.items():
            if reach.value >= 0:
                continue
            side, joint, digit, motion, arm = place
            row = case.tables.motions.get((joint, motion))
            other_way = (side, joint, digit, row.opposite if row else "", arm)
            opposite = case.cells.reaches.get(other_way, {}).get(mode)
            if opposite is not None and reach.value + opposite.value < -SAME_TESTER_ERROR:
                message = (
                    f"{written(-reach.value)} deg short of neutral, but the opposite motion ends "
                    f"at {written(opposite.value)} deg (finding {opposite.leaf.index})."
                )
                found.append(Found(_value_at(reach.leaf), message))
    return once(found)


def _moved(case: Case, graded: Graded, mode: str) -> Iterator[tuple[Place, Reach]]:
    """Yield the reaches of the motions that a strength test moves."""
    finding, cells = graded.leaf.finding, case.cells
    for place in cells.places.get((graded.leaf.side, finding.joint, finding.digit), ()):
        reach = cells.reaches[place].get(mode)
        if reach is not None and place[3] in graded.row.moves:
            yield place, reach


def check_strong_without_motion(case: Case) -> Founds:
    """Grade 3 and above means the whole available range against gravity."""
    found: list[Found] = []
    for graded in case.cells.graded:
        if graded.grade.ordinal < AGAINST_GRAVITY:
            continue
        for place, active in _moved(case, graded, "active"):
            passive = case.cells.reaches[place].get("passive")
            if _angle(active) == 0 and passive is not None and (_angle(passive) or 0) > 0:
                message = (
                    f"Grade {graded.grade.grade}, but no active motion (finding "
                    f"{active.leaf.index}) where the joint can be moved passively."
                )
                found.append(Found(_at(graded.leaf, "/grade"), message))
    return once(found)


def check_paralysed_with_motion(case: Case) -> Founds:
    """Grades 0 and 1 mean that nothing moves."""
    found: list[Found] = []
    for graded in case.cells.graded:
        if graded.grade.ordinal > NO_MOVEMENT:
            continue
        for _, active in _moved(case, graded, "active"):
            angle = _angle(active)
            if angle is not None and angle > 0:
                message = (
                    f"Grade {graded.grade.grade} means no movement, but {written(angle)} deg of "
                    f"active motion are recorded (finding {active.leaf.index})."
                )
                found.append(Found(_at(graded.leaf, "/grade"), message))
    return once(found)


def check_weak_with_full_motion(case: Case) -> Founds:
    """Below grade 3 the arm does not go through its range against gravity (EXM-09)."""
    found: list[Found] = []
    for graded in case.cells.graded:
        if not NO_MOVEMENT < graded.grade.ordinal < AGAINST_GRAVITY:
            continue
        for place, active in _moved(case, graded, "active"):
            full = handbook(case, place[1], place[3], place[4])
            angle = _angle(active)
            if full is not None and angle is not None and angle >= full * FULL_SHARE:
                message = (
                    f"Grade {graded.grade.grade} beside {written(angle)} deg of active motion "
                    f"(finding {active.leaf.index}): that range against gravity is grade 3."
                )
                found.append(Found(_at(graded.leaf, "/grade"), message))
    return once(found)


def _angle(reach: Reach) -> Decimal | None:
    finding = reach.leaf.finding
    return reach.value if isinstance(finding, Motion) and finding.angle is not None else None


def handbook(case: Case, joint: str, motion: str, arm_position: str | None) -> Decimal | None:
    """Return the handbook value of a motion in degrees, or ``None``."""
    rows = case.tables.ranges.get((joint, motion), ())
    values = [
        row.value
        for row in rows
        if row.statistic == "handbook" and row.arm_position in ("", arm_position)
    ]
    return max(values) if values else None


def check_limited_but_full(case: Case) -> Founds:
    """A motion recorded as limited does not reach the full handbook range."""
    found: list[Found] = []
    for reach in case.cells.limited:
        finding = reach.leaf.finding
        if not isinstance(finding, Motion):
            continue
        full = handbook(case, finding.joint, finding.motion, finding.arm_position)
        angle = _angle(reach)
        if angle is not None and full is not None and angle >= full:
            message = (
                f"The motion is recorded as limited, and {written(angle)} deg reach the "
                f"handbook value of {written(full)} deg."
            )
            found.append(Found(_at(reach.leaf, "/limitedBy"), message))
    return once(found)


def check_weak_grip(case: Case) -> Founds:
    """Full grades from that joint outwards (in table order) beside a hand much weaker."""
    best: dict[tuple[Any, ...], dict[str, Decimal]] = defaultdict(dict)
    for force in case.cells.forces:
        finding = force.leaf.finding
        key = (finding.joint, force.row.test, finding.digit)
        best[key][force.leaf.side] = max(force.trials)
    order = {joint: row.order for joint, row in case.tables.joints.items()}
    weak: dict[str, int] = {}
    for (joint, *_), sides in best.items():
        if len(sides) == 2:
            low, high = sorted(sides, key=lambda side: sides[side])
            if sides[low] < sides[high] * WEAKER_HAND:
                weak[low] = min(order[joint], weak.get(low, order[joint]))
    message = "Full strength by hand testing beside a force below 70 % of the other hand."
    return once(
        [
            Found(_at(graded.leaf, "/grade"), message)
            for graded in case.cells.graded
            if graded.grade.normal
            and graded.leaf.side in weak
            and order[graded.leaf.finding.joint] >= weak[graded.leaf.side]
        ]
    )


_ERROR, _WARNING = Severity.ERROR, Severity.WARNING
_MRC = "Medical Research Council grading of muscle power"

RULES: tuple[Rule, ...] = (
    across(
        "key-twice",
        "Key used twice",
        _ERROR,
        check_keys,
        OWN,
        "The key is the identity of a finding through all versions.",
        "Give every finding its own key.",
    ),
    across(
        "question-twice",
        "Two answers to one question",
        _ERROR,
        check_twice,
        OWN,
        "Nobody can tell which of the two is meant.",
        "Keep one; several trials of a force go into one finding.",
    ),
    across(
        "deficit-and-hyperextension",
        "Short of straight and beyond straight",
        _ERROR,
        check_both_ends,
        OWN,
        "The two exclude each other.",
        "Keep the one that was measured.",
    ),
    across(
        "ends-crossed",
        "The ends of one movement have changed places",
        _ERROR,
        check_ends_crossed,
        OWN,
        "A joint cannot stop bending before the place where it stops straightening; 5 degrees is "
        "measurement error.",
        "Check both values, and which way the deficit was meant.",
    ),
    across(
        "passive-far-below-active",
        "Passive motion far below active motion",
        _ERROR,
        check_passive_hard,
        OWN,
        "Passive motion is a few degrees larger than active motion; 15 degrees less is a mix-up.",
        'Check whether the two are swapped. If passive motion was stopped, use "absent" with the '
        "reason.",
    ),
    across(
        "passive-below-active",
        "Passive motion below active motion",
        _WARNING,
        check_passive_soft,
        OWN,
        "Passive motion is normally at least as large; 5 degrees is measurement error.",
        'Check both; if passive motion hurt, say so in "limitedBy".',
    ),
    across(
        "strong-without-motion",
        "Grade 3 or more without active motion",
        _ERROR,
        check_strong_without_motion,
        _MRC,
        "Grade 3 means the whole available range against gravity.",
        "Correct the grade or the active motion.",
    ),
    across(
        "paralysed-with-motion",
        "Grade 0 or 1 with active motion",
        _ERROR,
        check_paralysed_with_motion,
        _MRC,
        "Grades 0 and 1 mean that nothing moves.",
        "Correct the grade or the active motion; movement with gravity taken away is grade 2.",
    ),
    across(
        "weak-with-full-motion",
        "Grade 2 with a full active range",
        _WARNING,
        check_weak_with_full_motion,
        _MRC,
        "Grade 2 moves only when gravity is taken away.",
        "Check the grade, and record the position in which the motion was measured.",
    ),
    across(
        "limited-but-full",
        "Limited, yet full",
        _WARNING,
        check_limited_but_full,
        OWN,
        "A full range with a limit is possible (pain at the end), and often a slip.",
        "Check it; it is kept as posted.",
    ),
    across(
        "strong-with-weak-grip",
        "Full grade beside a weak hand",
        _WARNING,
        check_weak_grip,
        "OWN_PROPOSAL: hand testing is insensitive near full strength",
        "Grades 4 and 5 hide losses that an instrument shows.",
        "Check the grade; trust the measured force.",
    ),
)
