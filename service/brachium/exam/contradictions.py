"""Rules about findings that cannot both be true, or hardly."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from brachium.exam.cells import Graded, Place, Reach
from brachium.exam.findings import Motion, Part, Sign, Strength
from brachium.exam.numbers import written
from brachium.exam.rule import OWN, Case, Check, Found, Founds, Rule
from brachium.problems import Severity

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from brachium.exam.leaves import Leaf

SAME_TESTER_ERROR = 5  # degrees; active-passive differences up to here are measurement
HARD_DIFFERENCE = 15  # degrees
AGAINST_GRAVITY = 3  # MRC grade from which a movement overcomes gravity
NO_MOVEMENT = 1  # MRC grade up to which nothing moves
FULL_SHARE = Decimal("0.75")  # of the handbook value: a range that grade 2 does not reach
WEAKER_HAND = Decimal("0.7")


_ASKED: dict[type[Any], Callable[[dict[str, Any]], tuple[Any, ...]]] = {
    Motion: itemgetter("kind", "joint", "digit", "motion", "mode", "arm_position"),
    Sign: itemgetter("kind", "joint", "digit", "site", "sign"),
    Strength: itemgetter("kind", "joint", "digit", "test"),
    Part: itemgetter("kind", "joint", "digit", "part"),
}


def question(leaf: Leaf) -> tuple[Any, ...]:
    """Return what a leaf answers: two leaves with the same question are one too many."""
    finding = leaf.finding
    return (leaf.side, _ASKED[type(finding)](finding.__dict__))


def check_twice(case: Case) -> Founds:
    """One question has one answer in one exam."""
    first: dict[tuple[Any, ...], int] = {}
    found: dict[int, Found] = {}
    for leaf in case.leaves:
        index = first.setdefault(question(leaf), leaf.index)
        if index != leaf.index:
            message = f"The same question is already answered by finding {index}."
            found.setdefault(leaf.index, Found(_at(leaf), message))
    return list(found.values())


def check_keys(case: Case) -> Founds:
    """Keys are unique: the key is the identity of a finding through all versions (EXM-02)."""
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
    ends: dict[tuple[Any, ...], Leaf] = {}
    found: dict[int, Found] = {}
    for leaf in case.leaves:
        finding = leaf.finding
        if not isinstance(finding, Motion) or finding.end in (None, "straight"):
            continue
        other = ends.setdefault(question(leaf), leaf)
        if isinstance(other.finding, Motion) and other.finding.end != finding.end:
            message = f"Finding {other.index} says the opposite about the same joint."
            found.setdefault(leaf.index, Found(_at(leaf, "/end"), message))
    return list(found.values())


def _moved(case: Case, graded: Graded, mode: str) -> Iterator[tuple[Place, Reach]]:
    """Yield the reaches of the motions that a strength test moves."""
    finding = graded.leaf.finding
    for place, modes in case.cells.reaches.items():
        joint, digit, side, motion, _ = place
        if (
            mode in modes
            and (joint, digit, side) == (finding.joint, finding.digit, graded.leaf.side)
            and motion in graded.row.moves
        ):
            yield place, modes[mode]


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
    return _once(found)


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
    return _once(found)


def check_weak_with_full_motion(case: Case) -> Founds:
    """Below grade 3 the arm does not go through its range against gravity (EXM-09)."""
    found: list[Found] = []
    for graded in case.cells.graded:
        if not NO_MOVEMENT < graded.grade.ordinal < AGAINST_GRAVITY:
            continue
        for place, active in _moved(case, graded, "active"):
            full = handbook(case, place)
            angle = _angle(active)
            if full is not None and angle is not None and angle >= full * FULL_SHARE:
                message = (
                    f"Grade {graded.grade.grade} beside {written(angle)} deg of active motion "
                    f"(finding {active.leaf.index}): that range against gravity is grade 3."
                )
                found.append(Found(_at(graded.leaf, "/grade"), message))
    return _once(found)


def _angle(reach: Reach) -> Decimal | None:
    finding = reach.leaf.finding
    return reach.value if isinstance(finding, Motion) and finding.angle is not None else None


def _once(found: list[Found]) -> Founds:
    return list({one.pointer: one for one in reversed(found)}.values())[::-1]


def handbook(case: Case, place: Place) -> Decimal | None:
    """Return the handbook value of a motion in degrees, or ``None``."""
    joint, _, _, motion, arm_position = place
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
    for place, modes in case.cells.reaches.items():
        for reach in modes.values():
            finding = reach.leaf.finding
            if not isinstance(finding, Motion) or not finding.limited_by:
                continue
            angle, full = _angle(reach), handbook(case, place)
            if angle is not None and full is not None and angle >= full:
                message = (
                    f"The motion is recorded as limited, and {written(angle)} deg reach the "
                    f"handbook value of {written(full)} deg."
                )
                found.append(Found(_at(reach.leaf, "/limitedBy"), message))
    return _once(found)


def check_symmetrical(case: Case) -> Founds:
    """Sides called equal do not differ in what was seen at the same place."""
    seen: dict[tuple[Any, ...], dict[str, tuple[bool, Leaf]]] = defaultdict(dict)
    compared: list[tuple[tuple[Any, ...], Leaf]] = []
    for leaf in case.cells.signs:
        finding = leaf.finding
        if not isinstance(finding, Sign) or finding.present is None:
            continue
        place = (finding.kind, finding.joint, finding.digit, finding.site)
        if leaf.side == "both":
            if not finding.present:
                compared.append((place, leaf))
        else:
            seen[(*place, finding.sign)][leaf.side] = (finding.present, leaf)
    differing = {
        key[:-1]
        for key, sides in seen.items()
        if len(sides) == 2 and len({present for present, _ in sides.values()}) == 2
    }
    message = "The sides are recorded as equal, but a sign is present on one side only."
    return [Found(_at(leaf, "/present"), message) for place, leaf in compared if place in differing]


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
    return _once(
        [
            Found(_at(graded.leaf, "/grade"), message)
            for graded in case.cells.graded
            if graded.grade.normal
            and graded.leaf.side in weak
            and order[graded.leaf.finding.joint] >= weak[graded.leaf.side]
        ]
    )


def check_part_signs(case: Case) -> Founds:
    """A part without abnormality has no sign that is present."""
    return _part_against(case, lambda leaf: _present(leaf), ("inspection", "palpation"))


def check_part_results(case: Case) -> Founds:
    """A part without abnormality has no limited motion, no range of 0 and no weak grade."""
    return _part_against(case, lambda leaf: _poor(case, leaf), ("motion", "strength"))


def _present(leaf: Leaf) -> bool:
    return isinstance(leaf.finding, Sign) and leaf.finding.present is True


def _poor(case: Case, leaf: Leaf) -> bool:
    finding = leaf.finding
    if isinstance(finding, Motion):
        stopped = finding.angle is not None and finding.angle.value <= 0
        return stopped or finding.end == "short-of-straight" or bool(finding.limited_by)
    if isinstance(finding, Strength):
        row = case.tables.strength.get((finding.joint, finding.test))
        grade = case.tables.scales.get(row.scale, {}).get(finding.grade or "") if row else None
        weak = grade is not None and not grade.normal
        return weak or bool(finding.limited_by)
    return False


def _part_against(case: Case, against: Any, parts: tuple[str, ...]) -> Founds:  # noqa: ANN401
    stated: dict[tuple[Any, ...], Leaf] = {
        (leaf.finding.joint, leaf.finding.part, leaf.finding.digit, side): leaf
        for leaf in case.cells.parts
        if isinstance(leaf.finding, Part) and leaf.finding.outcome and leaf.finding.part in parts
        for side in ((leaf.side, "both") if leaf.side != "both" else ("both",))
    }
    if not stated:
        return []
    found: dict[int, Found] = {}
    for leaf in case.leaves:
        finding = leaf.finding
        part = stated.get((finding.joint, finding.kind, finding.digit, leaf.side))
        if part is not None and against(leaf):
            message = f"No abnormality is stated, but finding {leaf.index} records one."
            found.setdefault(part.index, Found(_at(part, "/outcome"), message))
    return list(found.values())


def check_part_absent(case: Case) -> Founds:
    """A part that was not examined has no results."""
    stated: dict[tuple[Any, ...], Leaf] = {
        (leaf.finding.joint, leaf.finding.part, leaf.finding.digit, leaf.side): leaf
        for leaf in case.cells.parts
        if isinstance(leaf.finding, Part) and leaf.finding.absent is not None
    }
    if not stated:
        return []
    found: dict[int, Found] = {}
    for leaf in case.leaves:
        finding = leaf.finding
        part = stated.get((finding.joint, finding.kind, finding.digit, leaf.side))
        if part is not None and finding.absent is None:
            message = f"The part has no result, but finding {leaf.index} of it has one."
            found.setdefault(part.index, Found(_at(part, "/absent"), message))
    return list(found.values())


def _rule(
    code: str, title: str, severity: Severity, check: Check, source: str, reason: str, remedy: str
) -> Rule:
    return Rule(
        code,
        title,
        severity,
        "business-rule",
        source,
        reason,
        remedy,
        "exam",
        check,
    )


_ERROR, _WARNING = Severity.ERROR, Severity.WARNING
_MRC = "Medical Research Council grading of muscle power"

RULES: tuple[Rule, ...] = (
    _rule(
        "key-twice",
        "Key used twice",
        _ERROR,
        check_keys,
        OWN,
        "The key is the identity of a finding through all versions.",
        "Give every finding its own key.",
    ),
    _rule(
        "question-twice",
        "Two answers to one question",
        _ERROR,
        check_twice,
        OWN,
        "Nobody can tell which of the two is meant.",
        "Keep one; several trials of a force go into one finding.",
    ),
    _rule(
        "deficit-and-hyperextension",
        "Short of straight and beyond straight",
        _ERROR,
        check_both_ends,
        OWN,
        "The two exclude each other.",
        "Keep the one that was measured.",
    ),
    _rule(
        "passive-far-below-active",
        "Passive motion far below active motion",
        _ERROR,
        check_passive_hard,
        OWN,
        "Passive motion is a few degrees larger than active motion; 15 degrees less is a mix-up.",
        'Check whether the two are swapped. If passive motion was stopped, use "absent" with the '
        "reason.",
    ),
    _rule(
        "passive-below-active",
        "Passive motion below active motion",
        _WARNING,
        check_passive_soft,
        OWN,
        "Passive motion is normally at least as large; 5 degrees is measurement error.",
        'Check both; if passive motion hurt, say so in "limitedBy".',
    ),
    _rule(
        "strong-without-motion",
        "Grade 3 or more without active motion",
        _ERROR,
        check_strong_without_motion,
        _MRC,
        "Grade 3 means the whole available range against gravity.",
        "Correct the grade or the active motion.",
    ),
    _rule(
        "paralysed-with-motion",
        "Grade 0 or 1 with active motion",
        _ERROR,
        check_paralysed_with_motion,
        _MRC,
        "Grades 0 and 1 mean that nothing moves.",
        "Correct the grade or the active motion; movement with gravity taken away is grade 2.",
    ),
    _rule(
        "weak-with-full-motion",
        "Grade 2 with a full active range",
        _WARNING,
        check_weak_with_full_motion,
        _MRC,
        "Grade 2 moves only when gravity is taken away.",
        "Check the grade, and record the position in which the motion was measured.",
    ),
    _rule(
        "limited-but-full",
        "Limited, yet full",
        _WARNING,
        check_limited_but_full,
        OWN,
        "A full range with a limit is possible (pain at the end), and often a slip.",
        "Check it; it is kept as posted.",
    ),
    _rule(
        "symmetrical-but-one-sided",
        "Equal sides with a one-sided sign",
        _WARNING,
        check_symmetrical,
        OWN,
        "A sign on one side usually shows when sides are compared.",
        "Check both findings; they are kept as posted.",
    ),
    _rule(
        "strong-with-weak-grip",
        "Full grade beside a weak hand",
        _WARNING,
        check_weak_grip,
        "OWN_PROPOSAL: hand testing is insensitive near full strength",
        "Grades 4 and 5 hide losses that an instrument shows.",
        "Check the grade; trust the measured force.",
    ),
    _rule(
        "part-contradicts-sign",
        "No abnormality beside a sign",
        _ERROR,
        check_part_signs,
        OWN,
        "One of the two is wrong, and a reader would see only one.",
        "Drop the finding about the whole part, or correct the sign.",
    ),
    _rule(
        "part-contradicts-result",
        "No abnormality beside a limited result",
        _WARNING,
        check_part_results,
        OWN,
        "A limited motion or a weak grade is an abnormality to most readers.",
        "Check it; drop the finding about the whole part if it does not hold.",
    ),
    _rule(
        "part-absent-with-results",
        "Part without result that has results",
        _WARNING,
        check_part_absent,
        OWN,
        "Part of it was examined after all.",
        "Record single findings as absent instead of the whole part.",
    ),
)
