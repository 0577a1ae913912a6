"""How much of a protocol an exam covers."""

from __future__ import annotations

import shutil
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from tests.assess.accounts import OTHER, backwards, judged, mirrored, swapped_key
from tests.exam.builders import end, exam, grade, grip, move, part, sign, tables
from tests.exam.strategies import exams

from brachium.assess.completeness import Cell, Completeness, completeness, covering
from brachium.problems import BrokenTables
from brachium.tables.load import load
from brachium.tables.source import default_directory


def covered(*findings: dict[str, Any], protocol: str = "") -> Completeness:
    _, leaves, assessment = judged(exam(*findings))
    found = completeness(leaves, assessment.ranges, tables(), protocol)
    assert found is not None
    return found


def cell(found: Completeness, joint: str, part_name: str, side: str = "right") -> Cell:
    some = [c for c in found.cells if (c.joint, c.part, c.side) == (joint, part_name, side)]
    assert len(some) == 1
    return some[0]


def absent(reason: str, because: str | None = None) -> dict[str, Any]:
    return {"absent": {"reason": reason, **({"because": because} if because else {})}}


def test_the_smallest_protocol_that_covers_the_joints_applies():
    _, leaves, _ = judged(exam(move(150)))
    assert covering(leaves, tables()) == "shoulder"
    _, leaves, _ = judged(exam(move(150), grip(30)))
    assert covering(leaves, tables()) == "full-arm"
    _, leaves, _ = judged(exam(grip(30)))
    assert covering(leaves, tables()) == "hand"


def test_a_part_is_done_when_everything_asked_has_a_result():
    found = covered(end("straight"), move(140, joint="elbow", motion="flexion"))
    motion = cell(found, "elbow", "motion")
    assert (motion.state, motion.missing, motion.reasons) == ("done", (), ())
    assert motion.leaves == ("f0", "f1")
    assert cell(found, "elbow", "motion", "left").state == "missing"
    assert cell(found, "elbow", "motion", "left").missing == ("flexion", "extension")


def test_a_part_with_something_unmentioned_is_partly_done():
    motion = cell(covered(move(140, joint="elbow", motion="flexion")), "elbow", "motion")
    assert (motion.state, motion.missing) == ("partly-done", ("extension",))


def test_a_part_keeps_the_reason_of_what_was_left_out():
    found = covered(
        move(140, joint="elbow", motion="flexion"), end(None, **absent("not-tested", "pain"))
    )
    motion = cell(found, "elbow", "motion")
    assert (motion.state, motion.missing) == ("partly-done", ())
    assert motion.reasons == ("extension, active: not tested (pain)",)


@pytest.mark.parametrize("reason", ["not-tested", "declined", "not-applicable", "not-examined"])
def test_a_part_that_was_left_out_says_why(reason):
    found = covered(part(outcome=None, **absent(reason)) | {"outcome": None})
    assert cell(found, "shoulder", "palpation").state == reason
    assert len(cell(found, "shoulder", "palpation").reasons) == 1
    assert cell(found, "shoulder", "palpation").outcome == ""


def test_of_several_obstacles_the_unmentioned_one_names_the_part():
    found = covered(move(None, joint="elbow", motion="flexion", **absent("declined")))
    motion = cell(found, "elbow", "motion")
    assert (motion.state, motion.missing) == ("missing", ("extension",))
    assert motion.reasons == ("flexion, active: declined by the patient",)


def test_a_whole_part_without_abnormality_is_done_and_normal():
    palpation = cell(covered(part()), "shoulder", "palpation")
    assert (palpation.state, palpation.outcome) == ("done", "normal")


def test_a_sign_makes_a_part_abnormal_and_none_makes_it_normal():
    felt = [sign(site=s, present=s == "ac-joint") for s in ("ac-joint", "clavicle")]
    assert cell(covered(*felt), "shoulder", "palpation").outcome == "abnormal"
    assert cell(covered(felt[1]), "shoulder", "palpation").outcome == "normal"


def test_a_result_without_reference_is_not_called_normal():
    assert cell(covered(grip(30)), "hand", "strength").outcome == "not-judged"
    assert (
        cell(covered(grade("5"), grade("4", test="extension")), "elbow", "strength").outcome
        == "abnormal"
    )


def test_a_sign_that_compares_the_sides_counts_for_both():
    found = covered(
        sign(
            False, kind="inspection", site="shoulder-region", sign="contour-asymmetry", side="both"
        )
    )
    assert cell(found, "shoulder", "inspection", "right").state == "done"
    assert cell(found, "shoulder", "inspection", "left").state == "done"


def test_every_finger_is_asked():
    bent = [
        move(90, joint="finger-mcp", motion="flexion", digit=digit)
        for digit in ("index", "middle", "ring")
    ]
    motion = cell(covered(*bent), "finger-mcp", "motion")
    assert motion.state == "partly-done"
    assert "little finger MCP joint flexion" in motion.missing
    assert "index finger MCP joint flexion" not in motion.missing
    assert "index finger MCP joint extension" in motion.missing


def test_the_percentage_counts_parts_and_says_of_how_many():
    # 8 parts of the shoulder on two sides; 1 done, 2 do not apply: 1 of 6
    found = covered(
        part(),
        part("strength", side="both", **absent("not-applicable")) | {"outcome": None},
    )
    assert (found.done, found.asked, found.not_applicable) == (1, 6, 2)
    assert found.percent == Decimal("16.7")
    assert found.statement == (
        "Shoulder: 1 of 6 parts done (16.7 percent); 2 of 8 parts do not apply and are not counted."
    )


def test_nothing_asked_has_no_percentage():
    parts = ("inspection", "palpation", "motion", "strength")
    found = covered(
        *(part(p, side="both", **absent("not-applicable")) | {"outcome": None} for p in parts)
    )
    assert (found.asked, found.percent) == (0, None)
    assert "percent" not in found.statement


def test_one_side_is_enough_where_the_protocol_says_so():
    found = covered(part("motion", side="left"), protocol="shoulder-follow-up")
    assert [(c.side, c.part, c.state) for c in found.cells] == [
        ("either", "motion", "done"),
        ("either", "strength", "missing"),
    ]


def test_findings_beyond_a_named_protocol_are_told():
    found = covered(move(150), grip(30), protocol="shoulder")
    assert found.beyond == ("f1",)


def test_an_unknown_protocol_is_an_error():
    with pytest.raises(KeyError):
        covered(move(150), protocol="whole-body")


@settings(max_examples=15, deadline=None)
@given(exams(tables()))
def test_left_and_right_swap_and_order_does_not_matter(posted):
    _, leaves, assessment = judged(posted)
    found = completeness(leaves, assessment.ranges, tables(), "full-arm")
    _, leaves, assessment = judged(backwards(posted))
    assert completeness(leaves, assessment.ranges, tables(), "full-arm") == found
    _, leaves, assessment = judged(mirrored(posted))
    other = completeness(leaves, assessment.ranges, tables(), "full-arm")
    assert other is not None
    assert found is not None
    assert other[3:7] == found[3:7]
    swapped = {(c.joint, c.part, OTHER[c.side]): c for c in other.cells}
    for one in found.cells:
        twin = swapped[one.joint, one.part, one.side]
        assert (twin.state, twin.outcome, twin.missing) == (one.state, one.outcome, one.missing)
        assert sorted(map(swapped_key, twin.leaves)) == sorted(one.leaves)


@settings(max_examples=15, deadline=None)
@given(exams(tables()))
def test_every_finding_is_in_a_part_or_beyond_the_protocol(posted):
    _, leaves, assessment = judged(posted)
    for protocol in tables().protocols:
        found = completeness(leaves, assessment.ranges, tables(), protocol)
        assert found is not None
        told = {key for one in found.cells for key in one.leaves} | set(found.beyond)
        assert told == {leaf.key for leaf in leaves}


PROTOCOL_FAULTS = {
    "joint": ("\nshoulder,Shoulder,shoulder,", "\nshoulder,Shoulder,knee,", "joint 'knee'"),
    "part": (",motion,each", ",moving,each", "part 'moving'"),
    "sides": (",either,", ",neither,", "sides|'neither'"),
    "item": (",pronation supination,", ",pronation twisting,", "'twisting'"),
    "digit": (",index middle ring little,", ",index sixth,", "'sixth'"),
    "label": ("shoulder,Shoulder,shoulder,motion", "shoulder,Arm,shoulder,motion", "another label"),
}


@pytest.mark.parametrize("name", PROTOCOL_FAULTS)
def test_a_planted_fault_of_a_protocol_stops_the_start(tmp_path: Path, name: str):
    old, new, said = PROTOCOL_FAULTS[name]
    copy = Path(shutil.copytree(default_directory(), tmp_path / "mappings"))
    file = copy / "reference/protocols.csv"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8", newline="")
    with pytest.raises(BrokenTables) as stopped:
        load(copy)
    assert any(word in str(stopped.value) for word in said.split("|"))
