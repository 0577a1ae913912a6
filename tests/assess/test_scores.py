"""Scores that are sums. Examples: sections 6 to 11 of the collection."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.motions import bend, motion, only
from tests.assess.strengths import force, grade, names, strength, worked

UEMS, SUM, MOTRICITY = "upper-extremity-motor-score", "mrc-sum-arm", "motricity-index-arm"
BROBERG, CONSTANT, PULL = "broberg-morrey-motion", "constant-motion", "constant-strength"
BEIGHTON = "beighton-arm"
KEY_MUSCLES = (
    ("elbow", "flexion", None),
    ("wrist", "extension", None),
    ("elbow", "extension", None),
    ("finger-dip", "flexion", "middle"),
    ("finger-mcp", "abduction", "little"),
)


def key_muscles(grades: str, side: str = "right"):
    pairs = zip(KEY_MUSCLES, grades.split(","), strict=True)
    return [grade(joint, test, one, side, digit=digit) for (joint, test, digit), one in pairs]


def test_8a_upper_extremity_motor_score():
    """Key muscles and grades seen: right 15, left 21, 36 of 50."""
    found = worked([*key_muscles("5,4,3,2,1"), *key_muscles("5,5,4,4,3", "left")])
    values = {side: only(found, UEMS, side=side).value for side in ("right", "left", "both")}
    assert values == {"right": 15, "left": 21, "both": 36}
    assert "36 of 50 (right 15, left 21)" in only(found, UEMS, side="both").statement
    assert len(only(found, UEMS, side="both").used) == 10


def test_8a_intact_arms_score_50():
    found = worked([*key_muscles("5,5,5,5,5"), *key_muscles("5,5,5,5,5", "left")])
    assert only(found, UEMS, side="both").value == 50


@pytest.mark.parametrize("place", range(5))
def test_8b_a_missing_item_is_never_a_smaller_number(place):
    findings = [*key_muscles("5,4,3,2,1"), *key_muscles("5,5,4,4,3", "left")]
    joint, test, digit = KEY_MUSCLES[place]
    gone = strength(joint, test, digit=digit, absent={"reason": "not-tested", "because": "pain"})
    found = worked([*findings[:place], gone, *findings[place + 1 :]])
    for side in ("right", "both"):
        assert only(found, UEMS, side=side).value is None
        assert "not determinable" in only(found, UEMS, side=side).statement
        assert "not tested (pain)" in only(found, UEMS, side=side).missing[0]
    assert only(found, UEMS, side="left").value == 21


@pytest.mark.parametrize("step", ["3-", "3+", "4-", "4+", "5-"])
def test_8b_plus_and_minus_are_not_allowed(step):
    found = only(worked(key_muscles(f"5,{step},3,2,1")), UEMS, side="right")
    assert found.value is None
    assert found.missing == (
        f"right wrist extension: grade {step} has no place in it, whole grades only",
    )


def test_an_exam_of_the_elbow_is_not_flooded_with_scores():
    assert not names(worked([grade("elbow", "flexion", "5"), grade("shoulder", "abduction", "5")]))


def test_9a_and_9b_motricity_index():
    """Points read in secondary pages: 25 + 19 + 26 + 1 = 71; all 5 gives 100."""

    def index(pinch, elbow, shoulder):
        findings = [
            grade("thumb-cmc", "pinch-grip", pinch),
            grade("elbow", "flexion", elbow),
            grade("shoulder", "abduction", shoulder),
        ]
        return only(worked(findings), MOTRICITY)

    assert index("4", "3", "4").value == 71
    assert index("5", "5", "5").value == 100
    # the 1 is not added to nothing
    assert index("0", "0", "0").value == 0
    assert index("1", "0", "0").value == 12
    assert index("4", "3", "4").evidence == "secondary"
    assert "whole grades only" in index("4", "3", "4+").missing[0]


@pytest.mark.parametrize(
    ("test", "joint", "points"),
    [
        ("pinch-grip", "thumb-cmc", (0, 11, 19, 22, 26, 33)),
        ("flexion", "elbow", (0, 9, 14, 19, 25, 33)),
        ("abduction", "shoulder", (0, 9, 14, 19, 25, 33)),
    ],
)
def test_every_point_of_the_motricity_index(test, joint, points):
    items = [("thumb-cmc", "pinch-grip"), ("elbow", "flexion"), ("shoulder", "abduction")]
    for step, wanted in enumerate(points):
        findings = [grade(j, t, str(step) if j == joint else "0") for j, t in items]
        found = only(worked(findings), MOTRICITY).value
        assert found == (wanted + 1 if wanted else 0), test


def test_motricity_without_an_item_says_which():
    found = only(worked([grade("thumb-cmc", "pinch-grip", "4")]), MOTRICITY)
    assert found.missing == (
        "right elbow flexion: not recorded",
        "right shoulder abduction: not recorded",
    )


def three_groups(right: str, left: str):
    places = [("shoulder", "abduction"), ("elbow", "flexion"), ("wrist", "extension")]
    return [
        grade(joint, test, one, side)
        for side, grades in (("right", right), ("left", left))
        for (joint, test), one in zip(places, grades.split(","), strict=True)
    ]


def test_section_10_arm_part_of_the_sum_score():
    """Composition from memory: 26 of 30, and only where memory is allowed."""
    findings = three_groups("4,4,4", "5,5,4")
    assert SUM not in names(worked(findings))
    found = only(worked(findings, memory=True), SUM)
    assert (found.value, found.side, found.evidence) == (26, "both", "memory")
    assert "26 of 30" in found.statement
    assert "from memory" in found.statement
    # the limit of the full score is not applied to the arms
    assert not found.flagged
    assert found.interpretation is None


def elbow(start, end, pronation, supination):
    return [
        *bend("elbow", start, end),
        motion("forearm", "pronation", pronation),
        motion("forearm", "supination", supination),
    ]


@pytest.mark.parametrize(
    ("findings", "points"),
    [(elbow(20, 130, 50, 60), 33), (elbow(-5, 140, 80, 80), 40), (elbow(0, 145, 80, 80), 40)],
)
def test_6a_and_6b_broberg_morrey_motion(findings, points):
    """Coefficients read in a secondary page: 22 + 5 + 6 = 33 and, capped, 27 + 6 + 7 = 40."""
    found = only(worked(findings), BROBERG)
    assert (found.value, found.side) == (points, "right")
    assert f"{points} of 40" in found.statement


def test_broberg_morrey_says_what_is_missing():
    found = only(worked(elbow(20, 130, 50, 60)[:3]), BROBERG)
    assert found.missing == ("right forearm supination, active: not recorded",)
    found = only(worked(elbow(20, 130, 50, 60)[1:]), BROBERG)
    assert found.missing == ("right elbow extension, active: not recorded",)


def shoulder(flexion, abduction, positions, level):
    return [
        motion("shoulder", "flexion", flexion),
        motion("shoulder", "abduction", abduction),
        motion("shoulder", "overhead-positions", positions),
        motion("shoulder", "thumb-behind-back", level),
    ]


def test_section_7_constant_motion_part():
    """Points from memory: 8 + 6 + 6 + 6 = 26; with abduction 80 it is 24."""
    findings = shoulder(135, 95, "3", "L3")
    assert CONSTANT not in names(worked(findings))
    found = only(worked(findings, memory=True), CONSTANT)
    assert (found.value, found.evidence) == (26, "memory")
    assert "26 of 40" in found.statement
    assert only(worked(shoulder(135, 80, "3", "L3"), memory=True), CONSTANT).value == 24


@pytest.mark.parametrize(
    ("angle", "points"),
    [
        *((0, 0), (30, 0), (31, 2), (60, 2), (61, 4), (90, 4)),
        *((91, 6), (120, 6), (121, 8), (150, 8), (151, 10), (180, 10)),
    ],
)
def test_section_7_points_of_an_elevation(angle, points):
    found = only(worked(shoulder(angle, 0, "0", "greater-trochanter"), memory=True), CONSTANT)
    assert found.value == points


@pytest.mark.parametrize(
    ("level", "points"),
    [
        *(("greater-trochanter", 0), ("buttock", 2), ("L5", 4)),
        *(("L3", 6), ("T12", 8), ("T7", 10)),
        # between the published levels the lower one counts
        *(("sacrum", 2), ("L4", 4), ("L1", 6), ("T8", 8), ("T1", 10)),
    ],
)
def test_section_7_points_of_a_level(level, points):
    assert only(worked(shoulder(0, 0, "0", level), memory=True), CONSTANT).value == points


@pytest.mark.parametrize(
    ("pull", "abduction", "points"),
    # 6.5 kg = 14.33 lb, 12.0 kg = 26.46 lb (cap); nothing where 90 degrees are not reached
    [(6.5, 95, 14), ("12.0", 95, 25), (6.5, 80, 0), (6.5, 90, 14), (0.4, 95, 0)],
)
def test_section_7_constant_strength_part(pull, abduction, points):
    findings = [
        force(pull, joint="shoulder", test="abduction-pull"),
        motion("shoulder", "abduction", abduction),
    ]
    assert PULL not in names(worked(findings))
    found = only(worked(findings, memory=True), PULL)
    assert (found.value, found.evidence) == (points, "memory")


def test_constant_strength_needs_the_abduction():
    found = worked([force(6.5, joint="shoulder", test="abduction-pull")], memory=True)
    assert only(found, PULL).missing == ("right shoulder abduction, active: not recorded",)


def lax(side, mcp, thumb, elbow_end, mode="passive"):
    words = {"side": side, "mode": "passive"}
    return [
        motion("finger-mcp", "extension", mcp, digit="little", **words),
        motion("wrist", "thumb-to-forearm", thumb, **words),
        motion("elbow", "extension", elbow_end, side=side, mode=mode),
    ]


def test_section_11_beighton_arm_items():
    """Table seen: right 95, yes, 12 and left 85, yes, 8 give 3 + 1 = 4 of 6."""
    found = worked([*lax("right", -95, "yes", -12), *lax("left", -85, "yes", -8)])
    values = {side: only(found, BEIGHTON, side=side).value for side in ("right", "left", "both")}
    assert values == {"right": 3, "left": 1, "both": 4}
    assert "4 of 6" in only(found, BEIGHTON, side="both").statement
    assert not only(found, BEIGHTON, side="both").flagged


def test_section_11_exactly_90_and_exactly_10_are_no_point():
    found = worked(lax("right", -90, "no", -10, mode="active"))
    assert only(found, BEIGHTON, side="right").value == 0
    assert only(found, BEIGHTON, side="both").value is None


def test_every_result_of_a_score_adds_up_in_its_statement():
    found = only(worked(key_muscles("5,4,3,2,1")), UEMS, side="right")
    for said in ("right elbow flexion 5: 5", "right little finger MCP joint abduction 1: 1"):
        assert said in found.statement
    assert found.value == sum(Decimal(one.value) for one in found.used)
