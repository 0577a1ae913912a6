"""Lag against contracture: the reference rules, section 2, item 13, and our own thresholds."""

from __future__ import annotations

import pytest
from tests.assess.motions import expanded, graded, motion, only, tables, worked

from brachium.assess.judgement import Judgement
from brachium.assess.lag import lags_of
from brachium.assess.measured import moved
from brachium.assess.reference import Reference

LAG = "active-passive-lag"


def both(joint: str, name: str, active: object, passive: object, **more: object) -> list:
    return [
        motion(joint, name, active, **more),
        motion(joint, name, passive, mode="passive", **more),
    ]


# joint, active and passive end of extension (flexion-positive), lag, word
ENDS = {
    "passive full, active short": ("elbow", 25, 0, 25, "lag"),
    "both short alike": ("elbow", 20, 20, 0, "contracture"),
    "both short, active much more": ("elbow", 45, 20, 25, "lag and contracture"),
    "both straight": ("elbow", 0, 0, 0, None),
    "within measurement error": ("elbow", 10, 0, 10, None),
    "just beyond it": ("elbow", 11, 0, 11, "lag"),
    "beyond straight is no bonus": ("elbow", 0, -12, 0, None),
    "hyperextending, active short": ("elbow", 12, -12, 12, "lag"),
    "finger within its error": ("finger-pip", 12, 12, 0, None),
    "mallet finger": ("finger-dip", 40, 0, 40, "lag"),
}


@pytest.mark.parametrize("name", ENDS)
def test_end_of_extension(name):
    joint, active, passive, size, word = ENDS[name]
    digit = {"digit": "ring"} if "finger" in joint else {}
    found = only(worked(both(joint, "extension", active, passive, **digit)), LAG)
    assert (found.value, found.unit) == (size, "deg")
    assert graded(found).get("lag or contracture") == word
    assert found.flagged == (word is not None)
    assert "OWN_PROPOSAL" in found.sources
    assert found.statement.count("measurement error") == 1


def test_the_statement_says_both_values_in_words():
    found = only(worked(both("elbow", "extension", 25, 0)), LAG)
    assert found.statement == (
        "Right elbow extension: active 25 deg short of straight; passive straight; active falls "
        "short of passive by 25 deg; consistent with lag beyond measurement error 10 deg "
        "(OWN_PROPOSAL: figure for any instrument, the one examiner of the exam; the largest that "
        "may hold, as no instrument is stated)."
    )
    assert len(found.used) == 2


def test_angle_lags_when_active_falls_short():
    found = only(worked(both("shoulder", "abduction", 60, 150)), LAG)
    assert (found.value, found.flagged) == (90, True)
    assert graded(found) == {"lag or contracture": "lag"}


def test_passive_below_active_is_called_a_contradiction_and_no_lag():
    found = only(worked(both("shoulder", "abduction", 150, 120)), LAG)
    assert (found.value, found.flagged, found.gradings) == (-30, False, ())
    assert "contradicts itself" in found.statement


def test_a_low_passive_angle_is_said_but_is_no_contracture():
    findings = both("shoulder", "abduction", 68, 71)
    low = Judgement("L", Reference("r", "t", ("s",)))
    leaves = expanded(findings)
    judged = {leaves[1].key: low}
    (found,) = lags_of(moved(leaves, tables()), judged, tables())
    assert "the passive angle is below its reference as well" in found.statement
    assert not found.flagged
    (found,) = lags_of(moved(leaves, tables()), {leaves[0].key: low}, tables())
    assert "below its reference" not in found.statement


def test_one_mode_alone_compares_nothing():
    assert worked([motion("shoulder", "abduction", 60)]) == ()
    assert worked([motion("shoulder", "abduction", 60, mode="passive")]) == ()


def test_sides_and_arm_positions_are_not_mixed():
    found = worked(
        [
            motion("shoulder", "external-rotation", 60, armPosition="at-side"),
            motion("shoulder", "external-rotation", 80, armPosition="abducted-90", mode="passive"),
            motion("elbow", "extension", 30, side="left"),
            motion("elbow", "extension", 0, mode="passive"),
        ]
    )
    assert found == ()


def test_a_mode_not_tested_is_what_is_missing():
    absent = {"reason": "not-tested", "because": "pain"}
    found = only(
        worked(
            [
                motion("elbow", "extension", 25),
                motion("elbow", "extension", mode="passive", absent=absent),
            ]
        ),
        LAG,
    )
    assert found.value is None
    assert found.missing == ("right elbow extension, passive: not tested (pain)",)
    assert not found.flagged


def test_grades_are_not_compared():
    levels = both("shoulder", "thumb-behind-back", "L1", "T7")
    assert not [one for one in worked(levels) if one.name == LAG]
