"""Grades of both sides against each other."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.motions import only
from tests.assess.strengths import grade, names, strength, worked

GRADES = "grade-side-difference"


@pytest.mark.parametrize(
    ("right", "left", "value", "stands_out", "said"),
    [
        ("4", "5", -1, True, "right weaker"),
        ("5", "4", 1, True, "left weaker"),
        ("5", "4+", "0.67", False, "left weaker"),
        ("4-", "4", "-0.33", False, "right weaker"),
        ("3", "3", 0, False, "no difference, both below full strength"),
        ("2", "4", -2, True, "neither side serves as normal"),
    ],
)
def test_grades_side_by_side(right, left, value, stands_out, said):
    found = only(
        worked([grade("elbow", "flexion", right), grade("elbow", "flexion", left, "left")]), GRADES
    )
    assert (found.value, found.flagged, found.side) == (Decimal(value), stands_out, "both")
    assert said in found.statement
    assert f"right MRC {right}, left MRC {left}" in found.statement


def test_two_full_grades_say_nothing():
    full = [grade("elbow", "flexion", "5"), grade("elbow", "flexion", "5", "left")]
    assert GRADES not in names(worked(full))


def test_digits_are_compared_with_themselves():
    findings = [
        grade("finger-dip", "flexion", "2", digit="index"),
        grade("finger-dip", "flexion", "5", "left", digit="index"),
        grade("finger-dip", "flexion", "5", "left", digit="middle"),
    ]
    found = only(worked(findings), GRADES)
    assert found.digit == "index"
    assert found.statement.startswith("Index finger DIP joint flexion: right MRC 2")


def test_a_side_that_was_not_tested_says_why():
    absent = strength("elbow", "flexion", "left", absent={"reason": "declined"})
    found = only(worked([grade("elbow", "flexion", "3"), absent]), GRADES)
    assert found.missing == ("left elbow flexion: declined by the patient",)
    assert found.value is None


def test_limits_are_said():
    findings = [
        grade("elbow", "flexion", "3", limitedBy=["pain"]),
        grade("elbow", "flexion", "5", "left"),
    ]
    assert "right MRC 3, limited by pain, left" in only(worked(findings), GRADES).statement
