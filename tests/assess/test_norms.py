"""Force against published groups, and the formulas of standing and error.

Examples: sections 16 and 17 of the collection.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from tests.assess.motions import only, tables
from tests.assess.strengths import MAN, WOMAN, force, names, worked

from brachium.assess.error_formulas import (
    detectable_change,
    sem_of_agreement,
    sem_of_change,
    sem_of_differences,
)
from brachium.assess.standing import Percentile, between, percentile_of, z_score
from brachium.assess.tested import Whose

Z, PERCENTILE = "force-z-score", "force-percentile"
CENT, TENTH = Decimal("0.01"), Decimal("0.1")


@pytest.mark.parametrize(
    ("value", "mean", "sd", "z", "percentile"),
    [
        # section 17: shoulder abduction of a man of 70, a woman of 80 (BASSEY_1989, seen)
        (100, 129, 14, "-2.07", "1.9"),
        (100, 114, 22, "-0.64", "26.2"),
        # wrist flexion, man of 20 to 54 (memory)
        (60, "74.8", "6.6", "-2.24", "1.2"),
    ],
)
def test_section_17_z_and_percentile(value, mean, sd, z, percentile):
    score = z_score(*(Decimal(str(one)) for one in (value, mean, sd)))
    assert score.quantize(CENT) == Decimal(z)
    assert percentile_of(score) == Percentile(Decimal(percentile))


def test_nobody_is_at_percentile_0_or_100():
    assert percentile_of(Decimal(-5)) == Percentile(Decimal("0.1"), "<")
    assert percentile_of(Decimal(5)) == Percentile(Decimal("99.9"), ">")
    assert percentile_of(Decimal(0)) == Percentile(Decimal(50))


def test_section_17_grip_of_a_man_of_45_to_49():
    """Right 30 kg = 66.14 lb against 109.9 SD 23.0 lb: z -1.90, percentile 2.9 (secondary)."""
    found = only(worked([force(30, 30, 30)]), Z)
    assert found.value == Decimal("-1.9")
    assert "z-score -1.90 (percentile 2.9 of a normal distribution)" in found.statement
    assert "mean 109.9 lbf, SD 23.0" in found.statement
    assert (found.interpretation, found.flagged) == ("L", True)
    assert found.evidence == "secondary"
    assert "MATHIOWETZ_1985" in found.sources


def test_section_17_grip_of_a_woman_of_65_to_69():
    """Left 24 lb against 41.0 SD 8.2 lb: z -2.07 (secondary)."""
    whose = WOMAN._replace(youngest=67, oldest=67)
    found = only(worked([force(24, 24, 24, side="left", unit="lb")], whose), Z)
    assert found.value == Decimal("-2.07")


def test_means_go_to_means_and_bests_to_bests():
    found = worked([force(30, 40, 50)])
    assert "mean of three 40 kgf" in only(found, Z).statement
    assert "best of three 50 kgf" in only(found, PERCENTILE).statement
    assert only(found, Z).qualifier == "grip-mathiowetz-1985"
    assert only(found, PERCENTILE).qualifier == "grip-nhanes-2011-2014"
    assert "standing, best of three" in only(found, PERCENTILE).statement
    assert "seated, mean of three" in only(found, Z).statement


def group(sex: str, age: int, side: str):
    rows = tables().percentiles["hand", "grip"]
    return next(
        row
        for row in rows
        if (row.sex, row.side) == (sex, side) and row.age_from <= age <= row.age_to
    )


@pytest.mark.parametrize(("percent", "place"), [(5, 0), (25, 2), (50, 3), (95, 6)])
def test_a_published_percentile_is_found_again(percent, place):
    value = group("male", 47, "right").values[place]
    found = only(worked([force(value, 1, 1)]), PERCENTILE)
    assert (found.value, found.comparator) == (percent, "")
    assert not found.flagged
    assert "between published ones" in found.statement


def test_between_two_published_percentiles_the_way_is_straight():
    row = group("male", 47, "right")
    half = (row.p25 + row.p50) / 2
    assert only(worked([force(half, 1, 1)]), PERCENTILE).value == Decimal("37.5")
    assert between(Decimal(15), (5, 10), (Decimal(10), Decimal(20))).value == Decimal("7.5")


def test_beyond_the_outermost_percentile_nothing_is_worked_out():
    row = group("male", 47, "right")
    low = only(worked([force(row.p5 - TENTH, 1, 1)]), PERCENTILE)
    assert (low.value, low.comparator, low.interpretation) == (5, "<", "L")
    assert low.flagged
    assert "below percentile 5" in low.statement
    high = only(worked([force(row.p95 + TENTH, 1, 1)]), PERCENTILE)
    assert (high.value, high.comparator, high.interpretation) == (95, ">", "H")
    assert not high.flagged


def test_percentiles_rise_with_force():
    values = [Decimal(one) / 2 for one in range(10, 160)]
    found = [only(worked([force(one, 1, 1)]), PERCENTILE).value for one in values]
    assert all(low <= high for low, high in pairwise(found))


def test_children_have_percentiles_and_no_z_score():
    child = MAN._replace(youngest=10, oldest=10)
    found = worked([force(15, 15, 15)], child)
    assert only(found, PERCENTILE).value is not None
    assert Z not in names(found)


def test_beside_every_percentile_stands_the_z_score_and_children_are_boys_and_girls():
    # boys of 10 to 11, right: the table's own mean and SD
    row = group("male", 10, "right")
    child = MAN._replace(youngest=10, oldest=10)
    low = row.mean - 2 * row.sd
    said = only(worked([force(low, 1, 1)], child), PERCENTILE).statement
    assert "(z-score -2.00)" in said
    assert ", boys of 10 to 11 years" in said
    girl = child._replace(sex="female")
    assert ", girls of 10 to 11 years" in only(worked([force(9, 9, 9)], girl), PERCENTILE).statement
    assert ", men of " in only(worked([force(40, 40, 40)]), PERCENTILE).statement


def test_an_age_between_two_groups_is_not_guessed():
    between_groups = MAN._replace(youngest=49, oldest=50)
    found = worked([force(30, 30, 30)], between_groups)
    for name in (Z, PERCENTILE):
        assert only(found, name).value is None
        assert "49 or 50 lies in no single group" in only(found, name).missing[0]


@pytest.mark.parametrize("sex", ["other", "unknown"])
def test_no_group_is_guessed_for_a_sex_without_one(sex):
    found = worked([force(30, 30, 30)], Whose(sex, 47, 47, "right"))
    for name in (Z, PERCENTILE):
        assert "men and women only" in only(found, name).missing[0]
        assert only(found, name).interpretation is None


def test_what_a_reader_must_know_stands_beside_the_figure():
    whose = MAN._replace(dominant="left")
    found = worked([force(30, 30, 30, position="sitting", limitedBy=["pain"])], whose)
    standing = only(found, PERCENTILE).statement
    assert "this patient was sitting" in standing
    assert "most of the group is right-handed" in standing
    assert "this test was limited by pain" in standing
    assert "this patient was" not in only(found, Z).statement


@pytest.mark.parametrize("test", ["key-pinch", "palmar-pinch", "tip-pinch"])
def test_pinch_is_not_held_against_figures_of_which_nobody_is_sure(test):
    pinch = [force(8, 8, 8, test=test)]
    assert Z not in names(worked(pinch))
    found = only(worked(pinch, memory=True), Z)
    memory = test != "tip-pinch"
    assert found.evidence == ("memory" if memory else "secondary")
    said = "from memory, not read" if memory else "in a reprint of which nobody is sure"
    assert said in found.statement
    assert PERCENTILE not in names(worked(pinch, memory=True))


# section 16 (formulas seen in REISSNER_2019, table 1)
@pytest.mark.parametrize(
    ("sem", "change"), [(2, "5.5"), (3, "8.3"), (4, "11.1"), (5, "13.9"), ("3.87", "10.7")]
)
def test_section_16_detectable_change(sem, change):
    assert detectable_change(Decimal(sem)).quantize(TENTH) == Decimal(change)


@pytest.mark.parametrize(
    ("change", "confidence", "sem"), [(12, 95, "4.33"), (30, 95, "10.82"), (9, 90, "3.87")]
)
def test_section_16_error_behind_a_published_change(change, confidence, sem):
    assert sem_of_change(Decimal(change), confidence).quantize(CENT) == Decimal(sem)


def test_section_16_the_rest():
    assert detectable_change(Decimal(5), 90).quantize(TENTH) == Decimal("11.6")
    assert sem_of_differences(Decimal(2)) ** 2 == pytest.approx(Decimal(2))
    assert sem_of_agreement(Decimal(10), Decimal("0.84")) == 4
    with pytest.raises(ValueError, match="ICC"):
        sem_of_agreement(Decimal(10), Decimal("1.1"))
    with pytest.raises(KeyError):
        detectable_change(Decimal(5), 99)
