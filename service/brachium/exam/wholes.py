"""Rules about signs, and about findings on a whole part, beside the findings they sum up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from brachium.exam.findings import Motion, Part, Sign, Strength
from brachium.exam.rule import OWN, Case, Found, Founds, Rule, across, once
from brachium.problems import Severity

if TYPE_CHECKING:
    from brachium.exam.leaves import Leaf


def _at(leaf: Leaf, member: str) -> str:
    return f"/findings/{leaf.index}{member}"


def check_symmetrical(case: Case) -> Founds:
    """Sides called equal do not differ in what was seen at the same place."""
    equal = [leaf for leaf in case.cells.comparisons if _presence(leaf) is False]
    if not equal:
        return []
    seen: dict[tuple[Any, ...], dict[str, bool]] = defaultdict(dict)
    for leaf in case.cells.signs:
        finding, present = leaf.finding, _presence(leaf)
        if isinstance(finding, Sign) and present is not None:
            seen[(*_where(finding), finding.sign)][leaf.side] = present
    differing = {key[:-1] for key, sides in seen.items() if set(sides.values()) == {True, False}}
    message = "The sides are recorded as equal, but a sign is present on one side only."
    return [
        Found(_at(leaf, "/present"), message)
        for leaf in equal
        if isinstance(leaf.finding, Sign) and _where(leaf.finding) in differing
    ]


def _where(sign: Sign) -> tuple[Any, ...]:
    return (sign.kind, sign.joint, sign.digit, sign.site)


def _presence(leaf: Leaf) -> bool | None:
    return leaf.finding.present if isinstance(leaf.finding, Sign) else None


def check_weakened(case: Case) -> Founds:
    """Full strength where a sign of weakness is present.

    A joint without graded tests of its own speaks for those that follow it in the table.
    """
    joints, strength = case.tables.joints, case.tables.strength
    graded_joints = {joint for (joint, _), row in strength.items() if row.measure == "grade"}
    found: list[Found] = []
    if not case.cells.graded:
        return []
    for leaf in case.cells.signs:
        sign = leaf.finding
        row = case.tables.signs.get((sign.kind, sign.sign)) if isinstance(sign, Sign) else None
        if row is None or not row.weakens or not _presence(leaf) or sign.joint not in joints:
            continue
        own = sign.joint in graded_joints
        for graded in case.cells.graded:
            joint = graded.leaf.finding.joint
            near = joint == sign.joint if own else joints[joint].order > joints[sign.joint].order
            if near and graded.grade.normal and graded.leaf.side == leaf.side:
                message = f"Full strength beside a sign of weakness (finding {leaf.index})."
                found.append(Found(_at(graded.leaf, "/grade"), message))
    return once(found)


def check_part_signs(case: Case) -> Founds:
    """A part without abnormality has no sign that is present."""
    return _part_against(case, lambda leaf: _presence(leaf) is True, ("inspection", "palpation"))


def check_part_results(case: Case) -> Founds:
    """A part without abnormality has no limited motion, no range of 0 and no weak grade."""
    return _part_against(case, lambda leaf: _poor(case, leaf), ("motion", "strength"))


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


def _part_against(case: Case, against: Callable[[Leaf], bool], parts: tuple[str, ...]) -> Founds:
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


_ERROR, _WARNING = Severity.ERROR, Severity.WARNING

RULES: tuple[Rule, ...] = (
    across(
        "symmetrical-but-one-sided",
        "Equal sides with a one-sided sign",
        _WARNING,
        check_symmetrical,
        OWN,
        "A sign on one side usually shows when sides are compared.",
        "Check both findings; they are kept as posted.",
    ),
    across(
        "strong-with-weakening-sign",
        "Full grade beside a sign of weakness",
        _WARNING,
        check_weakened,
        OWN,
        "A muscle that has lost bulk seldom keeps its full strength.",
        "Check the grade and the side of the sign; both are kept as posted.",
    ),
    across(
        "part-contradicts-sign",
        "No abnormality beside a sign",
        _ERROR,
        check_part_signs,
        OWN,
        "One of the two is wrong, and a reader would see only one.",
        "Drop the finding about the whole part, or correct the sign.",
    ),
    across(
        "part-contradicts-result",
        "No abnormality beside a limited result",
        _WARNING,
        check_part_results,
        OWN,
        "A limited motion or a weak grade is an abnormality to most readers.",
        "Check it; drop the finding about the whole part if it does not hold.",
    ),
    across(
        "part-absent-with-results",
        "Part without result that has results",
        _WARNING,
        check_part_absent,
        OWN,
        "Part of it was examined after all.",
        "Record single findings as absent instead of the whole part.",
    ),
)
