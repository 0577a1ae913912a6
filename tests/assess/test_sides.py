"""Right minus left: what is compared, what is not, and when it stands out."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.coding.coded import code
from tests.exam.builders import move


def differences(*findings):
    return code(*findings).assessment.differences


def both(right, left, **more):
    return move(right, **more), move(left, side="left", **more)


def test_obs_11_right_minus_left_with_ratio_and_lesser_side():
    (found,) = differences(*both(150, 175))
    assert (found.value, found.ratio, found.lesser) == (-25, Decimal("85.7"), "right")
    assert found.sources == ("f0", "f1")
    assert found.flagged is True
    assert found.threshold.value == 10


def test_obs_11_the_digits_of_the_sources_stay():
    (found,) = differences(*both(Decimal("150.50"), 150))
    assert str(found.value) == "0.50"


@pytest.mark.parametrize(("right", "flagged"), [(160, False), (161, True), (140, False)])
def test_a_difference_within_the_measurement_error_is_not_flagged(right, flagged):
    (found,) = differences(*both(right, 150))
    assert found.flagged is flagged


def test_equal_sides_have_no_lesser_side_and_zero_no_ratio():
    (found,) = differences(*both(0, 0))
    assert (found.value, found.ratio, found.lesser) == (0, None, "")


@pytest.mark.parametrize(
    "other",
    [
        {"mode": "passive"},
        {"motion": "flexion"},
        {"method": "goniometer"},
        {"side": "right"},
        {"joint": "wrist", "motion": "flexion"},
    ],
)
def test_obs_11_only_the_same_thing_measured_in_the_same_way_is_compared(other):
    assert differences(move(150), move(140, **({"side": "left"} | other))) == ()


def test_obs_11_a_missing_or_double_side_gives_no_difference():
    absent = move(side="left", absent={"reason": "not-tested"})
    assert differences(move(150), absent) == ()
    assert differences(*both(150, 175), move(170, side="left")) == ()


def test_exm_10_a_finding_on_both_sides_is_compared_with_itself():
    (found,) = differences(move(150, side="both"))
    assert (found.value, found.sources) == (0, ("f0/right", "f0/left"))


def test_arm_positions_are_compared_apart():
    rotation = {"motion": "external-rotation"}
    found = differences(
        *both(60, 70, armPosition="at-side", **rotation),
        *both(80, 90, armPosition="abducted-90", **rotation),
    )
    assert [one.what.arm_position for one in found] == ["at-side", "abducted-90"]
    assert len({one.key for one in found}) == 2
