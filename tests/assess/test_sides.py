"""Right minus left: what is compared, what is not, and when it stands out."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.coding.coded import code
from tests.exam.builders import end, move


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


@pytest.mark.parametrize(
    ("right", "left", "expected"), [(90, 92, True), (90, 175, False), (172, 175, False)]
)
def test_two_limited_sides_are_told_so_that_neither_serves_as_normal(right, left, expected):
    coded = code(*both(right, left))
    (found,) = coded.assessment.differences
    assert found.both_outside is expected
    assert found.is_told is (expected or found.flagged)
    texts = [one.body.decode() for one in coded.encoded.resources if one.type == "Observation"]
    assert any("neither serves as normal" in text for text in texts) is expected


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


def extension(word, magnitude=None, side="right", **more):
    return end(word, magnitude, side=side, **more)


@pytest.mark.parametrize(
    ("right", "left", "value", "flagged"),
    [
        (("short-of-straight", 25), ("straight", None), 25, True),
        (("straight", None), ("short-of-straight", 25), -25, True),
        # 8 short against 5 beyond: neither stands out alone, the 13 between them do
        (("short-of-straight", 8), ("beyond-straight", 5), 13, True),
        (("beyond-straight", 5), ("short-of-straight", 5), -10, False),
        (("straight", None), ("straight", None), 0, False),
    ],
)
def test_obs_11_ends_of_extension_are_compared_on_their_own_axis(right, left, value, flagged):
    (found,) = differences(extension(*right), extension(*left, side="left"))
    assert (found.value, found.flagged, found.ends) == (value, flagged, True)
    # less is more motion there, and straight is 0: neither a percentage nor a lesser side
    assert (found.ratio, found.lesser) == (None, "")


def test_obs_11_an_end_that_was_not_measured_is_not_compared():
    absent = extension(None, side="left", absent={"reason": "not-tested"})
    assert differences(extension("straight"), absent) == ()


@pytest.mark.parametrize(
    ("right", "words"),
    [(20, "right ends 15 degrees short of left"), (0, "right ends 5 degrees beyond left")],
)
def test_obs_11_the_text_says_which_end_falls_short(right, words):
    word = "short-of-straight" if right else "straight"
    coded = code(extension(word, right or None), extension("short-of-straight", 5, side="left"))
    texts = [
        one["code"]["text"]
        for one in coded.of("Observation")
        if "minus" in str(one["code"]["coding"])
    ]
    assert texts
    assert all(text.endswith(words) for text in texts)
