"""Arcs and functional windows. Examples: the reference collection, sections 1 and 5."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.motions import bend, motion, only, worked

ARC, WINDOW = "arc-of-motion", "functional-window"

# start, end, arc, coverage of 30 to 130 (MORREY_1981, seen)
ELBOWS = {
    "5a": (20, 130, 110, 100),
    "5b": (40, 110, 70, 70),
    "5c": (-10, 150, 160, 100),
}


@pytest.mark.parametrize("name", ELBOWS)
def test_elbow_example(name):
    start, end, size, covered = ELBOWS[name]
    found = worked(bend("elbow", start, end))
    arc, window = only(found, ARC), only(found, WINDOW)
    assert (arc.value, arc.unit) == (size, "deg")
    assert (window.value, window.unit) == (covered, "%")
    assert "MORREY_1981" in window.sources
    assert "MORREY_1981" in window.statement
    assert window.evidence == "seen"
    assert window.flagged == (covered < 100)


def turn(pronation: int, supination: int) -> list:
    return [
        motion("forearm", "pronation", pronation),
        motion("forearm", "supination", supination),
    ]


def test_5d_a_total_of_95_does_not_cover_the_rotation_window():
    found = worked(turn(60, 35))
    assert only(found, ARC).value == 95
    window = only(found, WINDOW)
    assert window.value == 85
    assert window.flagged
    assert "not all of it: starts at 35 deg supination" in window.statement


def test_rotation_window_needs_both_halves():
    assert only(worked(turn(50, 50)), WINDOW).value == 100
    assert only(worked(turn(120, 10)), WINDOW).value == 60
    assert only(worked(turn(10, 120)), WINDOW).value == 60


def test_a_lack_within_measurement_error_is_said_but_does_not_stand_out():
    window = only(worked(bend("elbow", 0, 125)), WINDOW)
    assert (window.value, window.flagged) == (95, False)
    assert "OWN_PROPOSAL" in window.sources
    assert only(worked(bend("elbow", 0, 119)), WINDOW).flagged


def test_no_overlap_is_nought_and_not_negative():
    assert only(worked(bend("elbow", 0, 20)), WINDOW).value == 0


@pytest.mark.parametrize(
    ("start", "end", "text"),
    [
        (-10, 150, "arc of motion 160 deg; extension/flexion 10/0/150"),
        (0, 140, "arc of motion 140 deg; extension/flexion 0/0/140"),
        (20, 130, "arc of motion 110 deg; extension/flexion 0/20/130"),
        (30, 30, "no active motion, held at 30 deg flexion; extension/flexion 0/30/30"),
        (12.5, 130, "arc of motion 117.5 deg; extension/flexion 0/12.5/130"),
    ],
)
def test_the_statement_holds_the_neutral_zero_text(start, end, text):
    arc = only(worked(bend("elbow", start, end)), ARC)
    assert arc.statement == f"Right elbow, active: {text}."
    assert arc.flagged == (start == end)


def test_two_angles_make_an_arc_through_neutral():
    found = worked([motion("wrist", "flexion", 60), motion("wrist", "extension", 40)])
    arc = only(found, ARC)
    assert arc.value == 100
    assert "extension/flexion 40/0/60" in arc.statement
    assert [used.value for used in arc.used] == ["40 deg", "60 deg"]


def test_each_side_digit_mode_and_arm_position_has_an_arc_of_its_own():
    rotations = [
        motion("shoulder", name, 60, armPosition=arm, side="both", key=f"{name}-{arm}")
        for name in ("internal-rotation", "external-rotation")
        for arm in ("at-side", "abducted-90")
    ]
    fingers = bend("finger-pip", 0, 90, digit="ring") + bend("finger-pip", 5, 90, digit="little")
    found = worked(rotations + fingers + bend("elbow", 0, 140, mode="passive"))
    arcs = [one for one in found if one.name == ARC]
    assert len({one.key for one in arcs}) == len(arcs) == 7
    assert {one.qualifier for one in arcs if one.joint == "shoulder"} == {
        "external-rotation-internal-rotation-active-at-side",
        "external-rotation-internal-rotation-active-abducted-90",
    }
    assert not [one for one in found if one.name == WINDOW], "windows are for active motion"


def test_one_motion_alone_is_no_arc_and_no_complaint():
    assert worked([motion("elbow", "flexion", 140)]) == ()
    assert worked([motion("elbow", "extension", 20)]) == ()


def test_a_motion_not_tested_is_what_the_arc_misses():
    absent = {"reason": "not-tested", "because": "pain"}
    found = worked([motion("elbow", "flexion", 120), motion("elbow", "extension", absent=absent)])
    for name in (ARC, WINDOW):
        one = only(found, name)
        assert one.value is None
        assert not one.flagged
        assert one.missing == ("right elbow extension, active: not tested (pain)",)
        assert "not tested (pain)" in one.statement
        assert [used.value for used in one.used] == ["120 deg"]


def test_nothing_measured_gives_nothing():
    absent = {"reason": "declined"}
    assert worked([motion("elbow", name, absent=absent) for name in ("flexion", "extension")]) == ()


def test_two_values_for_one_motion_are_no_value():
    twice = [motion("elbow", "flexion", value, key=f"k{value}") for value in (120, 130)]
    arc = only(worked([*twice, motion("elbow", "extension", 0)]), ARC)
    assert arc.value is None
    assert "recorded 2 times" in arc.missing[0]


def test_an_end_before_the_start_is_no_arc():
    arc = only(worked(bend("elbow", 30, 20)), ARC)
    assert arc.value is None
    assert "one of them is wrong" in arc.missing[0]


def test_every_arc_says_rule_and_sources():
    arc = only(worked(bend("elbow", Decimal("7.50"), 130)), ARC)
    assert arc.rule == "arc-of-motion/1.0"
    assert arc.sources == ("NEUTRAL_ZERO",)
    assert str(arc.value) == "122.5"
