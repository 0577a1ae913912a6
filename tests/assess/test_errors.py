"""What measuring alone can make: which row of errors.csv holds, and what is said of it."""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.assess.courses import by, course, last, seen
from tests.assess.motions import expanded, motion, only, tables, worked
from tests.coding.coded import code
from tests.exam.builders import move

from brachium.assess.assessment import assess
from brachium.assess.error_formulas import detectable_change, sem_of_change
from brachium.assess.errors import DIFFERENT, SAME, WITHIN_EXAM, Two, allowance, errors_about
from brachium.assess.options import AssessOptions
from brachium.assess.sides import side_differences
from brachium.assess.told import of_difference
from brachium.tables.rows import MeasurementError

TENTH = Decimal("0.1")
INCLINOMETER, GONIOMETER = "inclinometer", "goniometer"
MEMORY_ON = AssessOptions(memory_references=True)


def two(joint="shoulder", item="external-rotation", **more):
    words = {
        "modes": ("active", "active"),
        "methods": (INCLINOMETER, INCLINOMETER),
        "situation": SAME,
        "raters": WITHIN_EXAM,
    }
    return Two(joint, item, **(words | more))


def row(value, **changes):
    known = {
        "joint": "shoulder",
        "motion": "",
        "mode": "",
        "methods": (),
        "situation": SAME,
        "statistic": "proposal",
        "printed": "",
        "value": None if value is None else Decimal(value),
        "note": "",
        "source": "OWN_PROPOSAL",
        "evidence": "own",
    }
    return MeasurementError(**(known | changes))


def with_errors(*rows):
    return replace(tables(), errors=rows)


# the tables against what was published


def test_every_value_is_made_of_the_printed_figure():
    """Composites, section 16: MDC95 = 1.96 x sqrt 2 x SEM and MDC90 = 1.645 x sqrt 2 x SEM."""
    made = {"mdc90": 0, "sem": 0, "limits-of-agreement": 0, "change-needed": 0}
    for one in tables().errors:
        if one.value is None or one.statistic == "proposal":
            continue
        made[one.statistic] += 1
        figures = [Decimal(word) for word in re.findall(r"-?\d+(?:\.\d+)?", one.printed)]
        if one.statistic == "mdc90":
            expected = detectable_change(sem_of_change(figures[0], 90)).quantize(TENTH)
        elif one.statistic == "sem":
            expected = detectable_change(figures[0]).quantize(TENTH)
        elif "+/-" in one.printed:
            middle, reach = figures
            expected = max(abs(middle - reach), abs(middle + reach))
        else:
            # of a printed range the larger figure
            expected = max(figures)
        assert one.value == expected, one
    assert all(made.values()), made


def test_every_published_row_is_in_the_shared_reference(shared_dir):
    with (shared_dir / "reference" / "measurement_error.csv").open(encoding="utf-8") as file:
        shared = list(csv.DictReader(file))
    by_source = {}
    for one in shared:
        by_source.setdefault(one["source_key"], []).append(one)
    rows = [one for one in tables().errors if one.statistic != "proposal"]
    assert len(rows) > 25
    for one in rows:
        printed = set(re.findall(r"\d+(?:\.\d+)?", one.printed))
        found = [
            other
            for other in by_source[one.source]
            if printed == set(re.findall(r"\d+(?:\.\d+)?", other["value_deg_or_stated"]))
        ]
        assert found, one
        assert {other["evidence"] for other in found} == {one.evidence}


def test_proposals_are_those_of_the_reference_rules():
    """Rules, section 3: shoulder 10 and 20, elbow 10, wrist 12, finger 12, else 5."""
    proposed = {
        (one.joint, one.situation): one.value
        for one in tables().errors
        if one.statistic == "proposal"
    }
    for (joint, situation), value in proposed.items():
        kind = joint.partition("-")[0]
        rounded = {"shoulder": 10, "elbow": 10, "wrist": 12, "finger": 12, "thumb": 12}
        expected = 20 if (kind, situation) == ("shoulder", DIFFERENT) else rounded.get(kind, 5)
        assert value == expected, joint
    assert {situation for _, situation in proposed} == {SAME, DIFFERENT}


# which row holds


@pytest.mark.parametrize(
    ("asked", "value", "source"),
    [
        # KOLBER_2009 prints MDC90 5 and 4 for one rater, KOLBER_2011 9, 8 and 4 between raters
        (two(), "6.0", "KOLBER_2009"),
        (two(item="internal-rotation"), "4.8", "KOLBER_2009"),
        (two(situation=DIFFERENT), "10.7", "KOLBER_2011"),
        (two(item="flexion", situation=DIFFERENT), "9.5", "KOLBER_2011"),
        (two(item="abduction", situation=DIFFERENT), "4.8", "KOLBER_2011"),
        # no row of that instrument, motion and situation: the joint's own
        (two(item="abduction"), "10", "OWN_PROPOSAL"),
        (two(methods=(GONIOMETER,) * 2), "10", "OWN_PROPOSAL"),
        (two(methods=(GONIOMETER,) * 2, situation=DIFFERENT), "20", "OWN_PROPOSAL"),
        # passive: DOUGHERTY_2015 SEM 12.3 by one rater, DEWINTER_2004 -4.6 +/- 18.8 between them
        (two(item="flexion", modes=("passive",) * 2), "34.1", "DOUGHERTY_2015"),
        (two(modes=("passive",) * 2, situation=DIFFERENT), "23.4", "DEWINTER_2004"),
        (two(modes=("passive",) * 2), "10", "OWN_PROPOSAL"),
        # no instrument stated: the largest
        (two(methods=("", "")), "10", "OWN_PROPOSAL"),
        (two(item="flexion", modes=("passive",) * 2, methods=("", "")), "34.1", "DOUGHERTY_2015"),
        # two instruments: what they differ by is larger than the error of either
        (two(methods=(INCLINOMETER, GONIOMETER)), "20", "KOLBER_2012"),
        (two(methods=(GONIOMETER, "")), "20", "KOLBER_2012"),
        (two(methods=("visual-estimate", GONIOMETER)), "10", "OWN_PROPOSAL"),
        # two modes: the error of neither alone
        (two(modes=("active", "passive")), "10", "OWN_PROPOSAL"),
        # a range over several joints decides nothing for one of them
        (two("wrist", "flexion", methods=(GONIOMETER,) * 2), "12", "OWN_PROPOSAL"),
        (two("elbow", "extension", methods=(GONIOMETER,) * 2), "10", "OWN_PROPOSAL"),
        (two("forearm", "supination", methods=(GONIOMETER,) * 2), "5", "OWN_PROPOSAL"),
    ],
)
def test_the_row_of_the_motion_instrument_mode_and_raters_holds(asked, value, source):
    found = allowance(asked, tables())
    assert (found.value, found.source) == (Decimal(value), source)


def test_what_is_not_known_is_never_smaller_than_what_would_hold_if_it_were():
    methods = [GONIOMETER, INCLINOMETER, "visual-estimate"]
    for one in tables().motions.values():
        if one.measure not in ("angle", "end"):
            continue
        for mode in one.modes:
            for situation in (SAME, DIFFERENT):
                asked = two(one.joint, one.motion, modes=(mode, mode), situation=situation)
                known = [allowance(asked._replace(methods=(m, m)), tables()).value for m in methods]
                for unsure in [("", ""), *((m, "") for m in methods)]:
                    got = allowance(asked._replace(methods=unsure), tables()).value
                    assert got >= max(known), (asked, unsure)
                mixed = allowance(asked._replace(methods=(methods[0], methods[1])), tables())
                assert mixed.value >= max(known[:2])


def test_a_joint_without_rows_has_those_of_any_joint_for_their_instrument_only():
    """BOONE_1978: 3 to 4 degrees by one tester, more than 5 by different ones, by goniometer."""
    some = with_errors(*(one for one in tables().errors if one.joint != "forearm"))
    forearm = two("forearm", "supination", methods=(GONIOMETER,) * 2)
    assert allowance(forearm, some).value == 4
    assert allowance(forearm._replace(situation=DIFFERENT), some).value == 5
    assert allowance(forearm._replace(modes=("active", "passive")), some).value == 4
    # a figure of one instrument says nothing of another, and nothing of one that is not stated
    for methods in [("", ""), (INCLINOMETER,) * 2, (GONIOMETER, INCLINOMETER), (GONIOMETER, "")]:
        assert allowance(forearm._replace(methods=methods), some) is None


def test_of_two_rows_as_specific_the_larger_holds_in_any_order():
    rows = (row(6, motion="external-rotation"), row(8, methods=(INCLINOMETER,)), row(5))
    for some in (rows, rows[::-1]):
        assert allowance(two(), with_errors(*some)).value == 8


# rows from memory


RECALLED = row(3, motion="abduction", methods=(INCLINOMETER,), source="STUDY", evidence="memory")


def test_a_row_from_memory_never_judges_unless_asked_for():
    some = with_errors(row(10), RECALLED)
    leaves = expanded(
        [
            motion("shoulder", "abduction", value, side=side, method=INCLINOMETER, key=side)
            for side, value in (("right", 150), ("left", 155))
        ]
    )
    (published,) = side_differences(leaves, {}, some)
    assert (published.flagged, published.threshold.source) == (False, "OWN_PROPOSAL")
    (recalled,) = side_differences(leaves, {}, some, MEMORY_ON)
    assert (recalled.flagged, recalled.threshold.source) == (True, "STUDY")
    assert "from memory" in recalled.threshold.text
    by_key = {leaf.key: leaf for leaf in leaves}
    assert of_difference(published, by_key, some)["evidence"] == "own"
    entry = of_difference(recalled, by_key, some)
    assert entry["evidence"] == "memory"
    assert "from memory" in entry["sentence"]


def test_a_memory_error_reaches_the_whole_assessment_only_by_its_option():
    some = with_errors(row(10, joint="shoulder"), RECALLED)
    posted = code(
        move(150, method=INCLINOMETER), move(155, side="left", method=INCLINOMETER), some=some
    )
    assert posted.assessment.differences[0].flagged is False
    leaves = [posted.assessment.differences[0].right, posted.assessment.differences[0].left]
    found = assess(posted.exam, leaves, some, MEMORY_ON)
    assert found.differences[0].flagged is True


# what is said


def test_a_difference_says_instrument_rater_situation_and_the_printed_figure():
    rotation = {"motion": "external-rotation", "armPosition": "at-side", "method": INCLINOMETER}
    coded = code(move(60, **rotation), move(70, side="left", **rotation))
    (found,) = coded.assessment.differences
    assert (found.flagged, found.threshold.value) == (True, Decimal("6.0"))
    assert found.threshold.text == (
        "KOLBER_2009: inclinometer, the one examiner of the exam, printed MDC90 5"
    )
    by_key = {leaf.key: leaf for leaf in (found.right, found.left)}
    entry = of_difference(found, by_key, tables())
    assert entry["sources"] == ("KOLBER_2009",)
    assert found.threshold.text in entry["sentence"]
    (resource,) = coded.derived
    assert found.threshold.text in resource["referenceRange"][0]["text"]
    assert resource["referenceRange"][0]["high"]["value"] == 6


@pytest.mark.parametrize(
    ("right", "left", "value", "why"),
    [
        (None, None, 10, "as no instrument is stated"),
        (GONIOMETER, None, 20, "as one instrument is not stated"),
        (INCLINOMETER, GONIOMETER, 20, "as the instruments differ"),
        ("angle-instrument-not-stated", None, 10, "as no instrument is stated"),
    ],
)
def test_sides_by_unknown_or_different_instruments_are_compared_by_the_largest_error(
    right, left, value, why
):
    def posted(size, method, **more):
        return move(size, **({} if method is None else {"method": method}), **more)

    for first, second in ((right, left), (left, right)):
        coded = code(posted(130, first), posted(151, second, side="left"))
        (found,) = coded.assessment.differences
        assert (found.threshold.value, found.flagged) == (value, True)
        assert why in found.threshold.text
        within = code(posted(150, first), posted(150 + value, second, side="left"))
        assert within.assessment.differences[0].flagged is False


def test_values_by_two_instruments_are_compared_each_with_its_own():
    by_both = [
        move(value, side=side, method=method)
        for side, some in (("right", (150, 140)), ("left", (160, 155)))
        for method, value in zip((GONIOMETER, INCLINOMETER), some, strict=True)
    ]
    found = code(*by_both).assessment.differences
    assert [(one.what.method, one.value) for one in found] == [
        (GONIOMETER, -10),
        (INCLINOMETER, -15),
    ]
    # two values on one side, neither measured as on the other: either one would be a guess
    seen_by_eye = move(150, side="left", method="visual-estimate")
    assert code(*by_both[:2], seen_by_eye).assessment.differences == ()


@pytest.mark.parametrize(
    ("examiner", "method", "error", "said"),
    [
        ("D-1", INCLINOMETER, "6.0", "inclinometer, one examiner in both exams, printed MDC90 5"),
        ("D-2", INCLINOMETER, "10.7", "inclinometer, different examiners, printed MDC90 9"),
        ("D-1", GONIOMETER, "10", "figure for any instrument, one examiner in both exams"),
        ("D-2", GONIOMETER, "20", "figure for any instrument, different examiners"),
    ],
)
def test_a_change_counts_beyond_the_error_of_its_instrument_and_raters(
    examiner, method, error, said
):
    def rotated(value):
        turned = {"motion": "external-rotation", "armPosition": "at-side", "method": method}
        return move(value, **turned)

    def since(step):
        return last(course(seen(0, rotated(40)), seen(40, rotated(40 + step), **by(examiner))))

    size = Decimal(error)
    within, beyond = since(size), since(size + 1)
    assert (within.verdict, beyond.verdict) == ("no-detectable-change", "improved")
    assert beyond.error == size
    assert said in beyond.statement


def test_a_published_range_over_several_joints_is_named_beside_what_decides():
    goniometer = two("wrist", "flexion", methods=(GONIOMETER,) * 2)
    found = allowance(goniometer, tables())
    assert (found.value, found.source) == (12, "OWN_PROPOSAL")
    assert found.text.endswith("; also published: MDC95 12 to 30 (REISSNER_2019)")
    shoulder = two(item="flexion", methods=("visual-estimate",) * 2, situation=DIFFERENT)
    assert "SEM 14 to 25 (HAYES_2001)" in allowance(shoulder, tables()).text
    assert "also published" not in allowance(two(), tables()).text
    some = with_errors(row(10), row(None, note="no figure", printed="1 to 99", evidence="memory"))
    assert "1 to 99" not in allowance(two(), some).text
    assert "1 to 99" in allowance(two(), some, memory=True).text


def test_a_lag_says_which_error_it_used():
    lag = [
        motion("shoulder", "flexion", 100, method=INCLINOMETER),
        motion("shoulder", "flexion", 130, mode="passive", method=INCLINOMETER),
    ]
    found = only(worked(lag), "active-passive-lag")
    # active and passive differ, and what one rater repeats passively lies within 34.1
    assert (found.value, found.flagged) == (30, False)
    assert "DOUGHERTY_2015" in found.sources
    assert "inclinometer, the one examiner of the exam, printed SEM 12.3" in found.statement
    assert "as the modes differ" in found.statement


def test_everything_at_hand_is_told_also_what_decides_nothing():
    found = errors_about("wrist", "flexion", "active", tables())
    silent = [one for one in found if one.value is None]
    assert "REISSNER_2019" in {one.source for one in silent}
    assert all(one.note for one in silent)
    passive = errors_about("wrist", "flexion", "passive", tables())
    assert not any(one.mode == "active" for one in passive)


# properties


METHODS = (None, GONIOMETER, INCLINOMETER, "visual-estimate", "angle-instrument-not-stated")
OTHER = {"left": "right", "right": "left"}


@st.composite
def measured(draw):
    rows = [one for one in tables().motions.values() if one.measure in ("angle", "end")]
    some = draw(st.lists(st.sampled_from(rows), max_size=3))
    found = []
    for one in some:
        for _ in range(draw(st.integers(1, 3))):
            words = {
                "side": draw(st.sampled_from(["left", "right"])),
                "mode": draw(st.sampled_from(one.modes)),
                "method": draw(st.sampled_from(METHODS)),
                "armPosition": draw(st.sampled_from(one.arm_positions[:1] or (None,))),
            }
            digits = one.digits or tables().joints[one.joint].digits or (None,)
            value = draw(st.integers(0, 90))
            key = f"k{len(found)}"
            found.append(motion(one.joint, one.motion, value, key=key, digit=digits[0], **words))
    return found


def bare(findings, sign=1):
    return {
        (one.key, sign * one.value, one.flagged, one.threshold)
        for one in side_differences(expanded(findings), {}, tables())
    }


@settings(deadline=None, max_examples=60)
@given(measured().flatmap(lambda some: st.tuples(st.just(some), st.permutations(some))))
def test_differences_mirror_and_do_not_depend_on_the_order_of_findings(both):
    findings, shuffled = both
    assert bare(findings) == bare(shuffled)
    swapped = [one.model_copy(update={"side": OTHER[one.side]}) for one in findings]
    assert bare(findings) == bare(swapped, -1)
