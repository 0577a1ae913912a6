"""Reach behind the back over the length of the back. Examples: the reference collection, 12."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.motions import motion, only, tables, worked

RATIO, DIFFERENCE = "behind-back-ratio", "behind-back-ratio-difference"


def reach(value, side="right", mode="active", **more):
    return motion("shoulder", "c7-to-thumb", value, side=side, mode=mode, **more)


def back(value=50, side="right", **more):
    return motion("shoulder", "c7-to-psis", value, side=side, mode="passive", **more)


def both(right, left, mode="active"):
    return [reach(right, mode=mode), reach(left, "left", mode), back(side="both")]


@pytest.mark.parametrize("mode", ["active", "passive"])
def test_section_12_the_ratio_and_its_level(mode):
    """22 cm / 50 cm = 0.44 (HBBR_STUDY, seen), about T8 (ERNST_2013, seen)."""
    found = only(worked([reach(22, mode=mode), back()]), RATIO)
    assert (str(found.value), found.unit, found.evidence) == ("0.44", "", "seen")
    assert (found.side, found.qualifier) == ("right", mode)
    assert "22 cm of 50 cm = 0.44" in found.statement
    assert "about T8 (between T7 at 39 % (ERNST_2013) and T10 at 54.1 %" in found.statement
    assert {"HBBR_STUDY", "ERNST_2013"} <= set(found.sources)
    assert len(found.used) == 2
    assert not found.flagged
    assert found.interpretation is None


@pytest.mark.parametrize("value", [2, 22, 30, 36, 49])
def test_a_ratio_is_never_an_angle_and_says_so(value):
    found = only(worked([reach(value), back()]), RATIO)
    assert "rotation hardly changes above T12 (WAKABAYASHI_2006)" in found.statement
    assert "neither the ratio nor the level is an angle" in found.statement
    assert " deg" not in found.statement
    assert found.unit == ""


@pytest.mark.parametrize(
    ("value", "said"),
    [
        # the published places themselves (ERNST_2013, seen), of a length of 100 cm halved
        ("10.5", "about T4"),
        ("19.5", "about T7"),
        ("27.05", "about T10"),
        ("35.45", "about L1"),
        ("43.05", "about L4"),
        # nothing is made up beyond them
        ("10.4", "above T4 at 21 %"),
        ("43.1", "below L4 at 86.1 %"),
        ("55", "below L4 at 86.1 %"),
    ],
)
def test_levels_at_and_beyond_the_published_places(value, said):
    assert said in only(worked([reach(value), back()]), RATIO).statement


@pytest.mark.parametrize(
    ("mode", "left", "flagged"),
    [
        # smallest detectable change 0.053 active, 0.036 passive (HBBR_STUDY, seen)
        ("active", "24.65", False),
        ("active", "24.7", True),
        ("active", "19.35", False),
        ("active", "19.3", True),
        ("passive", "23.8", False),
        ("passive", "23.85", True),
        ("passive", "20.2", False),
        ("passive", "20.15", True),
    ],
)
def test_section_12_sides_stand_out_only_beyond_the_detectable_change(mode, left, flagged):
    found = only(worked(both(22, left, mode)), DIFFERENCE)
    assert found.flagged is flagged
    assert found.value == (Decimal(22) - Decimal(left)) / 50
    assert (found.side, found.qualifier, found.evidence) == ("both", mode, "own")
    word = "smaller (the thumb higher)" if Decimal(left) > 22 else "larger (the thumb lower)"
    assert word in found.statement
    assert ("not more than" not in found.statement) is flagged


def test_the_unrounded_ratios_are_compared():
    """26.5 / 49.99 - 23.85 / 49.99 is 0.05301: rounded it would be the detectable change."""
    found = only(worked([reach("26.5"), reach("23.85", "left"), back("49.99", "both")]), DIFFERENCE)
    assert str(found.value) == "0.053"
    assert found.flagged


def test_equal_sides_do_not_differ():
    found = only(worked(both(22, 22)), DIFFERENCE)
    assert found.value == 0
    assert "no difference" in found.statement


def test_what_is_missing_is_named():
    found = worked([reach(22)])
    length = "length of the back from C7 to the line of the posterior superior iliac spines"
    assert only(found, RATIO).value is None
    assert only(found, RATIO).missing == (f"right shoulder {length}, passive: not recorded",)
    thumb = "left shoulder distance from C7 to the thumb behind the back, active: not recorded"
    assert thumb in only(found, DIFFERENCE).missing


def test_a_length_of_zero_divides_nothing():
    found = only(worked([reach(22), back(0)]), RATIO)
    assert found.value is None
    assert "nothing divides by 0" in found.missing[0]


def test_a_length_alone_and_a_reach_that_was_not_tried_ask_for_nothing():
    untried = reach(None, absent={"reason": "not-tested", "because": "pain"})
    names = {one.name for one in worked([back(side="both"), untried])}
    assert not names & {RATIO, DIFFERENCE}


def test_unit_of_entry_and_order_never_matter():
    plain = [reach(22), reach(30, "left"), back(side="both")]
    millimetres = [back(500, "both", unit="mm"), reach(300, "left", unit="mm"), reach(22)]

    def values(found):
        return {(one.key, str(one.value), one.flagged) for one in worked(found)}

    assert values(plain) == values(millimetres)


def test_each_length_serves_only_its_own_side():
    found = worked([reach(22), reach(22, "left"), back(50)])
    assert only(found, RATIO, side="right").value == Decimal("0.44")
    assert only(found, RATIO, side="left").value is None


def test_every_row_of_ratios_is_seen_in_its_publication():
    assert {row.evidence for row in tables().ratios} == {"seen"}
