"""One measure in two exams: what counts, which way is better, and what is not compared."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.courses import by, course, last, only, seen, tables, verdicts
from tests.exam.builders import deg, end, grade, grip, move

from brachium.assess.change import CHANGE_RULE
from brachium.assess.change_limits import aim
from brachium.assess.judgement import Person
from brachium.assess.visits import Matter, Way

IMPROVED, WORSE = "improved", "worse"
NOTHING, INCOMPARABLE = "no-detectable-change", "not-comparable"


def pulp(value, unit="cm", **more):
    where = {"joint": "hand", "motion": "pulp-to-palm", "digit": "ring"}
    return move(distance={"value": value, "unit": unit}, **where, **more)


def level(word):
    return move(joint="shoulder", motion="thumb-behind-back", grade=word)


def since(first, second, first_header=None, second_header=None):
    """What is said when two findings follow one another in two exams."""
    found = course(
        seen(0, first, **(first_header or {})), seen(40, second, **(second_header or {}))
    )
    return last(found)


# errors.csv (own proposal): shoulder 10 by one examiner and 20 by different ones, elbow 10,
# finger 12; "beyond" is strict
@pytest.mark.parametrize(
    ("first", "second", "examiner", "verdict"),
    [
        (move(100), move(110), "D-1", NOTHING),
        (move(100), move(111), "D-1", IMPROVED),
        (move(111), move(100), "D-1", WORSE),
        (move(100), move(120), "D-2", NOTHING),
        (move(100), move(121), "D-2", IMPROVED),
        (move(121), move(100), "D-2", WORSE),
        (end("short-of-straight", 20), end("short-of-straight", 10), "D-1", NOTHING),
        (end("short-of-straight", 20), end("short-of-straight", 9), "D-1", IMPROVED),
        (end("short-of-straight", 9), end("short-of-straight", 20), "D-1", WORSE),
        (end("short-of-straight", 12), end("straight"), "D-1", IMPROVED),
        (end("straight"), end("short-of-straight", 12), "D-1", WORSE),
        (end("short-of-straight", 8), end("beyond-straight", 5), "D-1", IMPROVED),
    ],
)
def test_an_angle_counts_beyond_the_error_of_its_joint(first, second, examiner, verdict):
    assert since(first, second, None, by(examiner)).verdict == verdict


def test_the_error_of_the_joint_and_its_source_are_told():
    same, other = since(move(90), move(130)), since(move(90), move(130), None, by("D-2"))
    assert (same.error, other.error) == (Decimal(10), Decimal(20))
    assert "one examiner" in same.statement
    assert "different examiners" in other.statement
    for one in (same, other):
        assert one.sources[0] == "OWN_PROPOSAL"
        assert set(one.sources) <= set(tables().sources)
        assert one.rule == CHANGE_RULE
        assert one.rule in one.statement
        assert (one.before.said, one.now.said) == ("90 degrees", "130 degrees")
        assert (one.delta, one.unit) == (Decimal(40), "deg")


def upper_end():
    """The far end of the reference of the abduction that is measured here, in degrees."""
    goal = aim(
        Matter("shoulder", "", "right", "motion", "abduction"),
        Way("active", "", "goniometer", "sitting"),
        Person("female", 56, 56),
        tables(),
    )
    assert goal.turn >= 180  # the handbook's full abduction (AAOS) never lies beyond it
    return goal.turn


def test_far_beyond_the_reference_is_no_improvement():
    top = upper_end()
    change = since(move(top - 5), move(top + 10))
    assert change.verdict == WORSE
    assert "beyond the reference" in change.statement
    assert len(change.sources) > 1
    # from far short of it to a little beyond it is nearer
    assert since(move(top - 40), move(top + 10)).verdict == IMPROVED
    assert since(move(top + 10), move(top - 5)).verdict == IMPROVED


def test_as_far_on_both_sides_of_the_reference_the_near_side_is_better():
    top = upper_end()
    assert since(move(top - 10), move(top + 10)).verdict == WORSE
    assert since(move(top + 10), move(top - 10)).verdict == IMPROVED


def test_beyond_straight_within_the_reference_is_neither_better_nor_worse():
    # the reference of an elbow goes to 2 degrees beyond straight (ZWERUS_2017) and 10 of error
    change = since(end("straight"), end("beyond-straight", 11))
    assert (change.verdict, change.why) == (INCOMPARABLE, ("neither-better",))
    assert (change.delta, change.unit, change.error) == (Decimal(-11), "deg", Decimal(10))
    assert "ZWERUS_2017" in change.sources
    assert "neither better nor worse" in change.statement
    assert since(end("beyond-straight", 11), end("straight")).why == ("neither-better",)
    # that of the MCP joint of a finger goes to 45 (EATON_EHAND) and 12
    knuckle = {"joint": "finger-mcp", "digit": "index"}
    far = since(end("straight", **knuckle), end("beyond-straight", 40, **knuckle))
    assert far.why == ("neither-better",)
    stiff = since(end("short-of-straight", 30, **knuckle), end("beyond-straight", 40, **knuckle))
    assert stiff.verdict == IMPROVED


def test_an_elbow_goes_towards_straight_and_not_for_ever():
    far = since(end("beyond-straight", 10), end("beyond-straight", 40))
    assert (far.verdict, far.delta) == (WORSE, Decimal(-30))


# changes.csv: from a whole grade on (own proposal)
@pytest.mark.parametrize(
    ("first", "second", "verdict"),
    [
        ("4", "4+", NOTHING),
        ("4", "5-", NOTHING),
        ("4", "5", IMPROVED),
        ("4-", "5-", IMPROVED),
        ("5", "4", WORSE),
        ("3+", "4", NOTHING),
    ],
)
def test_a_grade_of_strength_counts_from_a_whole_grade_on(first, second, verdict):
    change = since(grade(first), grade(second))
    assert change.verdict == verdict
    assert change.unit == ""


# EDWARDS_2002 (seen): observers differ by one level; T8 is level 8, T10 is 10, T11 is 11
@pytest.mark.parametrize(
    ("first", "second", "verdict"),
    [("T10", "T8", IMPROVED), ("T8", "T10", WORSE), ("T11", "T10", NOTHING)],
)
def test_a_level_of_the_back_is_better_the_higher_it_is(first, second, verdict):
    assert since(level(first), level(second)).verdict == verdict


def test_the_pulp_is_better_the_nearer_it_is_to_the_palm():
    assert since(pulp(3), pulp(2)).verdict == IMPROVED
    assert since(pulp(2), pulp(3)).verdict == WORSE
    assert since(pulp(Decimal("2.5")), pulp(2)).verdict == NOTHING
    assert since(pulp(30, "mm"), pulp(2)).delta == Decimal(-1)


def test_a_scale_without_better_or_worse_is_not_compared():
    lax = {"joint": "wrist", "motion": "thumb-to-forearm", "mode": "passive"}
    change = since(move(grade="no", **lax), move(grade="yes", **lax))
    assert (change.verdict, change.why) == (INCOMPARABLE, ("neither-better",))


# NHANES_2011_2014 (own computation, composites 15 and the table of errors): means of three differ
# by 2.90 kg (women) and 4.59 kg (men) within one sitting, single trials by 5.02 and 7.95 kg; a
# review (BOHANNON_2019_MCID) calls 5.0 kg the smallest change that matters; both must be passed
@pytest.mark.parametrize(
    ("sex", "first", "second", "verdict"),
    [
        ("female", (20, 20, 20), ("24.9", "24.9", "24.9"), NOTHING),
        ("female", (20, 20, 20), (25, 25, 25), IMPROVED),
        ("female", (25, 25, 25), (20, 20, 20), WORSE),
        ("female", (20, 21, 22), (25, 26, 27), IMPROVED),
        ("male", (30, 30, 30), ("34.9", "34.9", "34.9"), NOTHING),
        ("male", (30, 30, 30), (35, 35, 35), IMPROVED),
        ("female", (20,), (25,), NOTHING),
        ("female", (20,), ("25.1",), IMPROVED),
        ("male", (30,), ("37.9",), NOTHING),
        ("male", (30,), (38,), IMPROVED),
        # of a person who is neither, the limits of both have to be passed
        ("unknown", (30,), ("37.9",), NOTHING),
        ("other", (30,), (38,), IMPROVED),
    ],
)
def test_grip_counts_beyond_the_published_limits(sex, first, second, verdict):
    who = {"patient": {"sex": sex}}
    first, second = (grip(*(Decimal(one) for one in trials)) for trials in (first, second))
    change = since(first, second, who, who)
    assert change.verdict == verdict
    assert {"NHANES_2011_2014", "BOHANNON_2019_MCID"} <= set(change.sources)
    for source in ("NHANES_2011_2014", "BOHANNON_2019_MCID"):
        assert source in change.statement


def test_grip_of_another_number_of_trials_is_not_compared():
    change = since(grip(30, 30, 30), grip(40))
    assert (change.verdict, change.why) == (INCOMPARABLE, ("other-number-of-trials",))
    assert (change.delta, change.error) == (None, None)


@pytest.mark.parametrize("trials", [(20, 20), (20, 20, 20, 20)])
def test_grip_without_a_known_error_is_not_judged(trials):
    change = since(grip(*trials), grip(*(one + 10 for one in trials)))
    assert (change.verdict, change.why) == (INCOMPARABLE, ("no-known-error",))
    assert (change.delta, change.error) == (Decimal(10), None)


def test_children_and_other_forces_have_no_published_error():
    child = {"patient": {"birthDate": "2012-01-01"}}
    assert since(grip(9, 9, 9), grip(19, 19, 19), child, child).why == ("no-known-error",)
    pinch = {"test": "key-pinch"}
    assert since(grip(3, 3, 3, **pinch), grip(9, 9, 9, **pinch)).why == ("no-known-error",)


@pytest.mark.parametrize(
    ("first", "second", "code"),
    [
        ({"method": "goniometer"}, {"method": "visual-estimate"}, "other-method"),
        ({"method": "goniometer"}, {}, "other-method"),
        ({"position": "sitting"}, {"position": "supine"}, "other-position"),
        ({"position": "sitting"}, {}, "other-position"),
        ({"mode": "active"}, {"mode": "passive"}, "other-mode"),
    ],
)
def test_what_was_measured_otherwise_is_not_compared(first, second, code):
    found = course(seen(0, move(60, **first)), seen(9, move(160, **second)))
    assert [len(one.points) for one in found.series] == [1, 1]
    (point,) = [one.points[0] for one in found.series if one.points[0].taken.value == 160]
    assert point.since_previous is None
    assert point.since_first is None
    assert (point.unlike.verdict, point.unlike.why) == (INCOMPARABLE, (code,))
    assert point.unlike.delta is None
    assert code.replace("-", " ") in point.unlike.statement


def test_another_arm_position_is_not_compared():
    words = {"joint": "shoulder", "motion": "external-rotation"}
    found = course(
        seen(0, move(60, armPosition="at-side", **words)),
        seen(9, move(80, armPosition="abducted-90", **words)),
    )
    point = only(found, arm_position="abducted-90").points[0]
    assert point.unlike.why == ("other-arm-position",)


def test_the_stated_default_method_is_the_method_that_was_not_stated():
    change = since(grade("4"), grade("5", method="manual-muscle-test"))
    assert change.verdict == IMPROVED


def test_a_measure_taken_otherwise_in_between_is_named_and_passed_over():
    found = course(
        seen(0, move(60, method="goniometer")),
        seen(5, move(150, method="visual-estimate")),
        seen(9, move(90, method="goniometer")),
        seen(12, move(91, method="goniometer")),
    )
    points = only(found, method="goniometer").points
    assert [one.since_previous and one.since_previous.delta for one in points] == [None, 30, 1]
    assert [one.unlike and one.unlike.before.visit.exam for one in points] == [None, "EX-5", None]


def test_two_modes_of_one_exam_are_two_series_and_no_contradiction():
    found = course(
        *(seen(n, move(60 + n), move(80 + n, mode="passive")) for n in (0, 20, 40)),
    )
    for mode in ("active", "passive"):
        series = only(found, mode=mode)
        assert verdicts(series) == [IMPROVED, IMPROVED]
        assert [one.unlike for one in series.points] == [None, None, None]


def test_a_gap_is_told_and_bridged_by_nothing():
    absent = move(absent={"reason": "not-tested", "because": "pain"})
    found = course(seen(0, move(60)), seen(5, absent), seen(9, move(90)))
    (series,) = found.series
    assert [one.taken.value for one in series.points] == [60, 90]
    assert [(one.visit.exam, one.said) for one in series.gaps] == [("EX-5", "not tested (pain)")]
    assert series.points[1].since_previous.before.visit.exam == "EX-0"


def test_a_measure_that_was_never_possible_is_listed_with_its_reasons():
    absent = move(absent={"reason": "declined"})
    (series,) = course(seen(0, absent), seen(5, absent)).series
    assert (series.points, len(series.gaps)) == ((), 2)


def test_exams_follow_their_time_and_its_offset():
    # the second is earlier although its clock shows a later hour
    late = seen(1, move(90), effective="2026-03-02T10:00:00+01:00")
    early = seen(2, move(60), effective="2026-03-02T10:30:00+05:00")
    found = course(late, early)
    assert [one.exam for one in found.visits] == ["EX-2", "EX-1"]
    assert verdicts(found.series[0]) == [IMPROVED]


def test_a_change_with_a_preliminary_exam_is_provisional():
    found = course(seen(0, move(60)), seen(5, move(90), status="preliminary"), seen(9, move(120)))
    assert [one.provisional for one in found.visits] == [False, True, False]
    points = found.series[0].points[1:]
    assert [one.since_previous.provisional for one in points] == [True, True]
    assert [one.since_first.provisional for one in points] == [True, False]
    assert "preliminary" in points[0].since_previous.statement
    assert "preliminary" not in points[1].since_first.statement


def test_both_sides_of_one_finding_are_two_series():
    found = course(seen(0, move(60, side="both")), seen(9, move(90, side="both")))
    assert {one.matter.side: verdicts(one) for one in found.series} == {
        "right": [IMPROVED],
        "left": [IMPROVED],
    }
    assert found.series[0].points[0].taken.finding == "f0/right"


def test_two_values_of_one_measure_in_one_exam_are_none():
    found = course(seen(0, move(60), move(90)), seen(9, move(90)))
    (series,) = found.series
    assert [one.taken.value for one in series.points] == [90]
    assert "guess" in series.gaps[0].said


def test_words_that_the_tables_do_not_have_any_more_are_told():
    visit, leaves = seen(0, move(60), grade("4"))
    gone = leaves[0].finding.model_copy(update={"motion": "no-such-motion"})
    found = course((visit, (leaves[0]._replace(finding=gone), leaves[1])))
    assert found.unread == (("EX-0", "f0"),)
    assert [one.matter.item for one in found.series] == ["flexion"]


@pytest.mark.parametrize(
    ("wanted", "names"),
    [
        ({}, {"abduction", "extension", "flexion", "grip"}),
        ({"joint": "elbow"}, {"extension", "flexion"}),
        ({"motion": "abduction"}, {"abduction"}),
        ({"test": "flexion"}, {"flexion"}),
        ({"motion": "extension", "test": "grip"}, {"extension", "grip"}),
        ({"side": "left"}, set()),
        ({"side": "right", "joint": "hand"}, {"grip"}),
    ],
)
def test_only_what_is_asked_for_is_followed(wanted, names):
    findings = (move(60), end("straight"), grade("4"), grip(30, 30, 30))
    found = course(seen(0, *findings), **wanted)
    assert {one.matter.item for one in found.series} == names


def test_rows_from_memory_judge_nobody():
    for row in (*tables().errors, *(row for some in tables().changes.values() for row in some)):
        assert row.evidence != "memory"


def test_a_converted_angle_is_compared_as_it_was_converted():
    found = course(
        seen(0, move(angle={"value": Decimal("1.5708"), "unit": "rad"})), seen(9, move(102))
    )
    change = last(found)
    assert (change.before.value, change.verdict) == (Decimal("90.00"), IMPROVED)
    assert "entered as 1.5708 rad" in change.statement


def test_values_are_shown_with_their_digits():
    change = since(move(angle=deg(Decimal("90.50"))), move(angle=deg(Decimal("100.25"))))
    assert change.delta == Decimal("9.75")
    assert "100.25 degrees after 90.50 degrees (+9.75 degrees)" in change.statement
