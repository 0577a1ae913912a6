"""Trials of a force, both sides, cut-off. Examples: sections 15 and 18 of the collection."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.motions import only
from tests.assess.strengths import MAN, WOMAN, force, names, strength, worked

from brachium.assess.tested import Whose
from brachium.exam.findings import Sign

MEAN, BEST, BEST_OF = "force-mean-of-three", "force-best-of-three", "force-best"
VARIATION, SIDES, LOW = "force-variation", "force-side-difference", "low-force"
DOMINANCE, CORRECTED = "force-dominance-difference", "force-dominance-corrected"
OLD_MAN, OLD_WOMAN = MAN._replace(youngest=70, oldest=70), WOMAN._replace(youngest=70, oldest=70)


def sign(name: str, part: str = "palpation", site: str = "cmc-joint", side: str = "left") -> Sign:
    return Sign.model_validate(
        {"key": f"{name}-{side}", "kind": part, "joint": "hand", "site": site, "sign": name}
        | {"side": side, "present": True}
    )


def test_section_18_mean_best_and_variation_of_three():
    found = worked([force(36.2, "35.0", 37.4)])
    assert (only(found, MEAN).value, only(found, MEAN).unit) == (Decimal("36.2"), "kg")
    assert only(found, BEST).value == Decimal("37.4")
    assert only(found, VARIATION).value == Decimal("3.3")
    assert only(found, VARIATION).unit == "%"
    assert only(found, MEAN).used[0].value == "36.2, 35.0, 37.4 kgf"
    assert BEST_OF not in names(found)


def test_fewer_than_three_trials_have_no_mean_and_no_best_of_three():
    found = worked([force(30, 31)])
    for name in (MEAN, BEST, VARIATION):
        assert only(found, name).value is None
        assert only(found, name).missing == ("right hand grip: 3 trials are needed, 2 recorded",)
    best = only(found, BEST_OF)
    assert (best.value, best.qualifier) == (31, "grip-of-2")
    assert "best trial of 2 trials 31 kgf" in best.statement
    assert not {"force-z-score", "force-percentile"} & names(found)


def test_more_than_three_trials_are_not_called_three():
    found = worked([force(30, 31, 32, 33)])
    assert only(found, BEST).missing
    assert only(found, BEST_OF).qualifier == "grip-of-4"
    assert only(found, VARIATION).value is not None


def test_one_trial():
    assert "of 1 trial 30 kgf" in only(worked([force(30)]), BEST_OF).statement


def test_two_records_of_one_hand_are_no_record():
    found = worked([force(30, 31, 32), force(20, 21, 22, key="again")])
    assert "recorded 2 times" in only(found, MEAN).missing[0]
    assert "force-percentile" not in names(found)


def test_a_force_that_was_not_tested_gives_nothing():
    assert not worked(
        [strength("hand", "grip", absent={"reason": "not-tested", "because": "pain"})]
    )


@pytest.mark.parametrize(("last", "stands_out"), [(37.4, False), (25, True)])
def test_variation_stands_out_without_a_word_on_motive(last, stands_out):
    found = only(worked([force(36.2, 35, last)]), VARIATION)
    assert found.flagged == stands_out
    said = "the trials vary; check pain, comprehension, fatigue" in found.statement
    assert said == stands_out
    for word in ("sincer", "effort", "malinger", "motivation"):
        assert word not in found.statement.lower()


def test_variation_of_nothing():
    found = only(worked([force(0, 0, 0)]), VARIATION)
    assert found.missing == ("right hand grip: the mean is 0",)


def test_section_15_ratio_and_correction_of_a_right_hander():
    """33 kg against 40 kg: 82.5 percent; against an expected 44 kg: 75.0 percent (seen)."""
    found = worked([force(33, 33, 33), force(40, 40, 40, side="left")])
    difference = only(found, SIDES)
    assert "the weaker is 82.5 % of the stronger" in difference.statement
    assert (difference.value, difference.side) == (Decimal("-17.5"), "both")
    assert [one.leaf for one in difference.used] == ["hand-grip-right", "hand-grip-left"]
    corrected = only(found, CORRECTED)
    assert corrected.value == 75
    assert "44 kgf expected on the right" in corrected.statement
    assert "PETERSEN_1989" in corrected.sources


@pytest.mark.parametrize("dominant", ["left", "ambidextrous", "unknown"])
def test_section_15_nobody_else_is_corrected(dominant):
    whose = MAN._replace(dominant=dominant)
    found = worked([force(33, 33, 33), force(40, 40, 40, side="left")], whose)
    assert CORRECTED not in names(found)
    assert (DOMINANCE in names(found)) == (dominant == "left")


def test_section_15_both_denominators_are_named():
    """48.4 against 45.7 is 5.9 % of the weaker and 5.6 % of the stronger hand (seen)."""
    found = worked([force(48.4, 48, 47), force(45.7, 45, 44, side="left")])
    difference = only(found, SIDES)
    assert difference.value == Decimal("5.6")
    assert "5.6 % less than right, of the stronger side (5.9 % of the weaker)" in (
        difference.statement
    )
    assert only(found, DOMINANCE).value == Decimal("5.9")


@pytest.mark.parametrize(
    ("right", "left", "whose", "stands_out"),
    [
        # 20 percent: ten percent is a mean, not a limit
        (40, 32, MAN, False),
        (40, 31, MAN, True),
        # in percent much, in kilograms within what single trials differ by
        (10, 5, WOMAN, False),
        (10, 4.9, WOMAN, True),
        (12, 4.9, MAN, False),
    ],
)
def test_a_side_difference_stands_out_beyond_both_limits(right, left, whose, stands_out):
    found = worked([force(right, right, right), force(left, left, left, side="left")], whose)
    assert only(found, SIDES).flagged == stands_out
    assert ("more than in 95 of 100 adults" in only(found, SIDES).statement) == stands_out


def test_no_limit_for_a_child_or_a_pinch():
    child = MAN._replace(youngest=12, oldest=12)
    found = worked([force(30, 30, 30), force(10, 10, 10, side="left")], child)
    assert not only(found, SIDES).flagged
    assert "no published limit" in only(found, SIDES).statement


def test_sides_with_different_numbers_of_trials_are_not_compared():
    found = only(worked([force(33, 33, 33), force(40, 40, side="left")]), SIDES)
    assert found.value is None
    assert "3 trials on the right, 2 on the left" in found.missing[0]
    two = only(worked([force(33, 30), force(40, 40, side="left")]), SIDES)
    assert "best of 2" in two.statement


def test_the_other_side_is_missing_and_says_why():
    absent = strength("hand", "grip", "left", absent={"reason": "not-tested", "because": "pain"})
    assert only(worked([force(33, 33, 33), absent]), SIDES).missing == (
        "left hand grip: not tested (pain)",
    )
    assert only(worked([force(33, 33, 33)]), SIDES).missing == ("left hand grip: not recorded",)


def test_nothing_is_a_percentage_of_nothing():
    found = worked([force(0, 0, 0), force(0, 0, 0, side="left")])
    assert "nothing is a percentage of 0" in only(found, SIDES).missing[0]
    found = worked([force(5, 5, 5), force(0, 0, 0, side="left")])
    assert only(found, SIDES).value == 100
    assert only(found, DOMINANCE).value is None
    assert only(found, CORRECTED).value is None


def test_findings_on_both_sides_leave_no_side_as_normal():
    findings = [
        force(33, 33, 33, limitedBy=["pain"]),
        force(40, 40, 40, side="left"),
        sign("tenderness"),
    ]
    assert "neither side serves as normal" in only(worked(findings), SIDES).statement
    assert "neither side serves" not in only(worked(findings[:2]), SIDES).statement


@pytest.mark.parametrize(
    ("best", "whose", "low"),
    [
        # section 18: strictly below; 27.0 is not low
        ("27.0", OLD_MAN, False),
        (26.9, OLD_MAN, True),
        (16, OLD_WOMAN, False),
        (15.9, OLD_WOMAN, True),
        (20, MAN._replace(youngest=60, oldest=60), True),
    ],
)
def test_section_18_cut_off(best, whose, low):
    found = only(worked([force(best, 10, 10), force(12, 12, 12, side="left")], whose), LOW)
    assert (found.value, found.flagged) == (Decimal(str(best)).normalize(), low)
    assert found.interpretation == ("L" if low else "N")
    assert ("consistent with probable sarcopenia" in found.statement) == low
    assert ("is no diagnosis" in found.statement) == low
    assert "EWGSOP2_2019" in found.sources


@pytest.mark.parametrize(
    ("trial", "unit", "low"),
    # section 18 gives the limits rounded: 59.5 lb, 264.8 N and 35.3 lb, 156.9 N
    [
        (59.5, "lb", True),
        (59.53, "lb", False),
        (264.7, "N", True),
        (264.8, "N", False),
        # exactly 27 kg in newtons
        ("264.77955", "N", False),
    ],
)
def test_section_18_cut_off_in_other_units(trial, unit, low):
    found = worked([force(trial, trial, trial, unit=unit)], OLD_MAN)
    assert only(found, LOW).flagged == low


@pytest.mark.parametrize("whose", [MAN, MAN._replace(youngest=59, oldest=60)])
def test_no_cut_off_for_the_young(whose):
    assert LOW not in names(worked([force(10, 10, 10)], whose))


def test_no_cut_off_without_sex():
    found = only(worked([force(10, 10, 10)], Whose("unknown", 70, 70, "right")), LOW)
    assert found.missing == ("hand grip: the cut-offs are published for men and women only",)
    assert not found.flagged


@pytest.mark.parametrize(
    "spoiled",
    [
        [sign("tenderness")],
        [sign("swelling")],
        [sign("swelling", "inspection", "hand-region")],
        [sign("wound", "inspection", "hand-region")],
        [sign("scar", "inspection", "hand-region")],
        [strength("wrist", "flexion", "left", grade="5", limitedBy=["pain"])],
        [strength("wrist", "flexion", "left", absent={"reason": "not-tested", "because": "pain"})],
    ],
)
def test_never_a_cut_off_for_a_painful_or_operated_hand(spoiled):
    weak = force(10, 10, 10, side="left")
    alone = only(worked([weak, *spoiled], OLD_MAN), LOW)
    assert alone.value is None
    assert "no side is fit for a cut-off" in alone.missing[0]
    assert not alone.flagged
    both = only(worked([weak, force(20, 20, 20), *spoiled], OLD_MAN), LOW)
    assert both.value == 20
    assert "not counted left" in both.statement.lower()
    assert [one.leaf for one in both.used] == ["hand-grip-right"]
    assert only(worked([weak], OLD_MAN), LOW).flagged


def test_a_hand_limited_by_its_own_weakness_is_still_weak():
    found = only(worked([force(10, 10, 10, limitedBy=["weakness"])], OLD_MAN), LOW)
    assert found.flagged
