"""Reference judgement: only from what somebody read, and only as far as it goes."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from tests.coding.coded import code, tables
from tests.exam.builders import deg, move

from brachium.assess.errors import error_of
from brachium.assess.reference import RANGE_RULE, SPREAD_RULE, reference
from brachium.tables.rows import MeasurementError, Range


def row(value, **changes):
    known = {
        "joint": "shoulder",
        "motion": "abduction",
        "arm_position": "",
        "statistic": "mean",
        "mode": "active",
        "sex": "any",
        "age_from": 18,
        "age_to": 80,
        "n": None,
        "value": Decimal(value),
        "sd": None,
        "source": "STUDY",
        "evidence": "seen",
    }
    return Range(**(known | changes))


def with_rows(*rows, error=10):
    errors = () if error is None else (error_row(error),)
    return replace(tables(), ranges={("shoulder", "abduction"): rows}, errors=errors)


def error_row(value, **changes):
    known = {
        "joint": "shoulder",
        "motion": "",
        "mode": "",
        "methods": (),
        "situation": "same-rater",
        "statistic": "proposal",
        "printed": "",
        "value": Decimal(value),
        "note": "",
        "source": "ERROR",
        "evidence": "own",
    }
    return MeasurementError(**(known | changes))


def judged(value, some, **more):
    coded = code(move(value, **more), some=some)
    found = coded.assessment.ranges.get("f0")
    return found.interpretation if found else "nothing"


@pytest.mark.parametrize(
    ("value", "expected"),
    [("149.9", "L"), ("150", "N"), ("180", "N"), ("180.1", "H"), ("165.00", "N")],
)
def test_obs_07_low_and_high_begin_one_measurement_error_outside_all_means(value, expected):
    some = with_rows(row(160), row(170, source="OTHER"))
    assert judged(Decimal(value), some) == expected


def test_obs_07_a_handbook_value_raises_the_upper_end_but_never_the_lower():
    some = with_rows(row(150), row(180, statistic="handbook", source="BOOK"))
    assert judged(185, some) == "N"
    assert judged(191, some) == "H"
    assert judged(145, some) == "N", "below the handbook value alone is not low"
    assert judged(139, some) == "L"


@pytest.mark.parametrize("changes", [{"sex": "male"}, {"age_from": 20, "age_to": 30}])
def test_obs_07_what_is_published_for_anybody_is_never_high(changes):
    some = with_rows(row(150), row(180, source="OTHER", **changes))
    assert judged(190, some) == "N"
    assert judged(190.5, some) == "H"
    assert judged(139.5, some) == "L", "others lower nothing"


def test_obs_07_a_spread_of_the_same_mode_judges_by_z():
    some = with_rows(row(168, sd=Decimal("7.6"), n=74, source="SPREAD"), row(120, source="OTHER"))
    found = code(move(153), some=some).assessment.ranges["f0"]
    assert (found.interpretation, found.reference.rule) == ("L", SPREAD_RULE)
    assert found.z == Decimal("-1.97")
    assert found.percentile.value == Decimal("2.4")
    assert judged(154, some) == "N"


def test_obs_07_a_spread_of_the_other_mode_does_not():
    some = with_rows(row(168, mode="any", sd=Decimal("7.6"), n=74))
    found = code(move(159), some=some).assessment.ranges["f0"]
    assert (found.reference.rule, found.z) == (RANGE_RULE, None)


@pytest.mark.parametrize(
    ("value", "deficit", "percent"),
    [(90, 90, "50.0"), (Decimal("172.5"), Decimal("7.5"), "95.8"), (185, 0, "102.8")],
)
def test_the_deficit_counts_from_the_full_range_of_the_handbook(value, deficit, percent):
    books = (row(180, statistic="handbook", source="AAOS", age_from=90, age_to=99), row(160))
    found = code(move(value), some=with_rows(*books)).assessment.ranges["f0"]
    assert (found.deficit, found.percent) == (Decimal(deficit), Decimal(percent))


def test_a_site_that_asks_for_figures_from_memory_gets_them_marked():
    some = with_rows(row(170, evidence="memory"), row(172, evidence="memory", source="OTHER"))
    key = ("shoulder", "abduction", "", "active", "female", 56, 57)
    assert reference(*key, some) is None
    found = reference(*key, some, memory=True)
    assert found.evidence == "memory"
    assert "from memory" in found.text.lower()


def test_obs_07_the_handbook_stands_in_where_no_study_fits():
    some = with_rows(row(180, statistic="handbook"), row(100, sex="male"))
    assert judged(169, some) == "L"
    assert judged(171, some) == "N"


def test_obs_07_memory_never_judges():
    assert judged(20, with_rows(row(170, evidence="memory"))) == "nothing"


@pytest.mark.parametrize(
    "changes", [{"sex": "male"}, {"mode": "passive"}, {"age_to": 50}, {"arm_position": "at-side"}]
)
def test_obs_07_a_row_for_others_does_not_judge(changes):
    assert judged(20, with_rows(row(170, **changes))) == "nothing"


def test_obs_07_a_partial_date_of_birth_uses_only_rows_that_fit_both_ages():
    some = with_rows(row(170, age_from=57, age_to=60))
    header = {"patient": {"birthDate": "1969"}}
    assert code(move(20), some=some, header=header).assessment.ranges == {}
    some = with_rows(row(170, age_from=56, age_to=60))
    assert code(move(20), some=some, header=header).assessment.ranges["f0"].interpretation == "L"


def test_obs_07_without_a_measurement_error_the_value_is_shown_beside_the_reference_only():
    coded = code(move(20), some=with_rows(row(170), error=None))
    found = coded.assessment.ranges["f0"]
    assert (found.interpretation, found.reference.low) == (None, None)
    assert "STUDY" in found.reference.text


def test_a_judgement_names_rule_sources_and_the_value_it_used():
    found = code(move(20), some=with_rows(row(170))).assessment.ranges["f0"]
    assert found.reference.rule == RANGE_RULE
    assert found.reference.sources == ("STUDY", "ERROR")
    assert found.value == 20
    assert "own convention" in found.reference.text.lower()


def test_the_error_of_any_joint_serves_where_a_joint_has_none():
    some = replace(tables(), errors=(error_row(5, joint="any"), error_row(9, joint="elbow")))
    assert error_of("shoulder", some).value == 5
    assert error_of("elbow", some).value == 9
    assert error_of("shoulder", replace(some, errors=(error_row(9, evidence="memory"),))) is None


@pytest.mark.parametrize(
    ("word", "value", "expected"),
    [
        ("short-of-straight", 20, "A"),
        ("straight", None, "N"),
        ("beyond-straight", 5, "N"),
        ("beyond-straight", 25, "A"),
    ],
)
def test_obs_14_an_end_of_extension_is_judged_on_the_flexion_positive_axis(word, value, expected):
    finding = {"kind": "motion", "joint": "elbow", "motion": "extension", "side": "right"}
    finding |= {"mode": "active", "end": word}
    finding |= {} if value is None else {"magnitude": deg(value)}
    assert code(finding).assessment.ranges["f0"].interpretation == expected


def test_no_shipped_row_from_memory_takes_part_in_any_reference():
    known = tables()
    memory = {
        (key, r.source, r.value)
        for key, rows in known.ranges.items()
        for r in rows
        if r.evidence == "memory"
    }
    assert memory, "nothing to prove: the tables hold no row from memory"
    for (joint, motion), rows in known.ranges.items():
        for r in rows:
            for mode in ("active", "passive"):
                found = reference(
                    joint, motion, r.arm_position, mode, "male", r.age_from, r.age_from, known
                )
                trusted = {q.source for q in rows if q.evidence != "memory"}
                allowed = trusted | {e.source for e in known.errors}
                assert found is None or set(found.sources) <= allowed


SEXES = ("female", "male")


def of(finding, *, sex, born):
    coded = code(finding, header={"patient": {"sex": sex, "birthDate": born}})
    return coded.assessment.ranges["f0"].interpretation


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("born", ["2008-01-01", "1986-01-01", "1951-01-01", "1941-01-01"])
@pytest.mark.parametrize("mode", ["active", "passive"])
def test_a_wrist_that_flexes_30_degrees_stands_out(sex, born, mode):
    """Lowest mean that fits anybody grown up: 64 (WALKER_1984); less 12 of error is 52."""
    bent = move(30, joint="wrist", motion="flexion", mode=mode)
    assert of(bent, sex=sex, born=born) == "L"


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("born", ["2008-01-01", "1986-01-01", "1951-01-01", "1941-01-01"])
@pytest.mark.parametrize("mode", ["active", "passive"])
def test_an_elbow_20_degrees_short_of_straight_stands_out(sex, born, mode):
    """Straight is full; 10 of error, and 20 is beyond it (A: outside, on a two-sided axis)."""
    short = {"kind": "motion", "joint": "elbow", "motion": "extension", "side": "right"}
    short |= {"mode": mode, "end": "short-of-straight", "magnitude": deg(20)}
    assert of(short, sex=sex, born=born) == "A"


@pytest.mark.parametrize("method", [None, "goniometer", "inclinometer", "visual-estimate"])
def test_a_healthy_man_of_75_with_165_degrees_of_shoulder_flexion_does_not_stand_out(method):
    by = {} if method is None else {"method": method}
    raised = move(165, motion="flexion", **by)
    assert of(raised, sex="male", born="1951-01-01") == "N"
    assert of(move(100, motion="flexion", **by), sex="male", born="1951-01-01") == "L"


def test_an_error_from_memory_widens_a_reference_only_when_asked_for_and_says_so():
    some = with_rows(row(170))
    some = replace(some, errors=(error_row(10, evidence="memory"),))
    asked = ("shoulder", "abduction", "", "active", "female", 56, 56)
    assert reference(*asked, some).low is None
    found = reference(*asked, some, memory=True)
    assert (found.low, found.evidence) == (160, "memory")
    assert "from memory" in found.text
