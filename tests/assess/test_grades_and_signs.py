"""Grades and signs: normal or abnormal by the tables; everything else is left unjudged."""

from __future__ import annotations

import pytest
from tests.coding.coded import code, tables

from brachium.assess.judgement import grade_text


def strength(grade, **more):
    known = {"kind": "strength", "joint": "elbow", "test": "flexion", "side": "left"}
    return {**known, "grade": grade, **more}


@pytest.mark.parametrize("grade", list(tables().scales["mrc-grade"]))
def test_obs_13_only_the_normal_grade_is_normal(grade):
    found = code(strength(grade)).assessment.ranges["f0"]
    assert found.interpretation == ("N" if grade == "5" else "A")
    assert found.reference.text == "MRC 5"


@pytest.mark.parametrize(
    ("scale", "grade", "said"),
    [
        ("mrc-grade", "4+", "MRC 4+"),
        ("opposition-station", "9", "station 9"),
        ("vertebral-level", "T9", "level T9"),
        ("fist", "full", "fist full"),
    ],
)
def test_a_grade_is_said_with_what_it_counts(scale, grade, said):
    assert grade in tables().scales[scale]
    assert grade_text(scale, grade) == said


@pytest.mark.parametrize(("present", "expected"), [(True, "A"), (False, "N")])
@pytest.mark.parametrize(
    "sign",
    [
        {"kind": "palpation", "site": "ac-joint", "sign": "tenderness", "side": "right"},
        {"kind": "inspection", "site": "clavicle", "sign": "contour-asymmetry", "side": "both"},
    ],
)
def test_obs_16_a_sign_is_abnormal_when_present(sign, present, expected):
    found = code({**sign, "joint": "shoulder", "present": present}).assessment.ranges["f0"]
    assert found.interpretation == expected


def test_force_parts_and_absences_are_not_judged():
    grip = {"kind": "strength", "joint": "hand", "test": "grip", "side": "left"}
    coded = code(
        {**grip, "trials": [{"value": 30, "unit": "kg"}]},
        {"kind": "part", "joint": "wrist", "part": "palpation", "side": "left"}
        | {"outcome": "no-abnormality"},
        strength(None) | {"absent": {"reason": "not-tested"}},
        {"kind": "palpation", "joint": "shoulder", "site": "ac-joint", "sign": "tenderness"}
        | {"side": "left", "absent": {"reason": "declined"}},
    )
    assert coded.assessment.ranges == {}
