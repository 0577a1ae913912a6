"""Computed values over the life of an exam: they follow their sources (COR-03)."""

from __future__ import annotations

import json

import pytest
from tests.intake.desks import intake
from tests.intake.exams import exam, finding, raw, without

from brachium.intake.receipt import Outcome


def move(key, motion, side="right", joint="elbow", **result):
    head = {"key": key, "kind": "motion", "joint": joint, "motion": motion, "side": side}
    return {**head, "mode": "active", **result}


def deg(value):
    return {"value": value, "unit": "deg"}


def arms():
    """An exam with the arcs of one elbow and one wrist."""
    content = exam()
    content["findings"] += [
        move("flex", "flexion", angle=deg(130)),
        move("ext", "extension", end="short-of-straight", magnitude=deg(20)),
        move("wrist-flex", "flexion", joint="wrist", angle=deg(70)),
        move("wrist-ext", "extension", joint="wrist", angle=deg(60)),
    ]
    return content


ARC = "computed/arc-of-motion/elbow/-/right/extension-flexion-active"
OTHER = "computed/arc-of-motion/wrist/-/right/extension-flexion-active"


def started(content=None):
    desk = intake()
    receipt = desk.receive(raw(content or arms()))
    assert receipt.outcome is Outcome.CREATED, receipt.problems
    return desk, receipt.exam.id


def named(desk, exam_id, version=None):
    found = {}
    for row in desk.desk.store.resources(exam_id, version):
        content = json.loads(row.text)
        if row.type == "Observation":
            tail = content["identifier"][0]["value"].partition("/")[2]
            found[tail] = (row.version, content["status"], content)
    return found


def judged(desk, exam_id, version=None):
    told = json.loads(desk.desk.store.exam(exam_id, version).assessment)["judged"]
    return {one["key"]: one for one in told}


def corrected(desk, exam_id, content, expected=1):
    receipt = desk.correct(exam_id, raw(content), "read wrongly", expected)
    assert receipt.outcome is Outcome.CHANGED, receipt.problems
    return receipt


def test_obs_11_a_computed_value_names_every_source_and_its_rule():
    desk, exam_id = started()
    every = named(desk, exam_id)
    arc = every[ARC][2]
    assert arc["valueQuantity"]["value"] == 110
    sources = {f"Observation/{every[key][2]['id']}" for key in ("flex", "ext")}
    assert {one["reference"] for one in arc["derivedFrom"]} == sources
    assert "rule arc-of-motion/1.0" in arc["method"]["text"]
    assert arc["category"][0]["coding"][0]["code"] == "exam"


def test_obs_10_a_computed_value_is_a_member_of_the_panel_of_its_joint_once():
    desk, exam_id = started()
    every = named(desk, exam_id)
    wanted = {"reference": f"Observation/{every[ARC][2]['id']}"}
    holding = [key for key, (_, _, one) in every.items() if wanted in one.get("hasMember", ())]
    assert holding == ["panel/elbow"]
    assert every["panel/elbow"][2]["hasMember"].count(wanted) == 1


def test_cor_03_a_corrected_source_corrects_what_is_computed_from_it_and_nothing_else():
    desk, exam_id = started()
    changed = arms()
    finding(changed, "flex")["angle"]["value"] = 120
    corrected(desk, exam_id, changed)
    after = named(desk, exam_id)
    version, status, arc = after[ARC]
    assert (version, status, arc["valueQuantity"]["value"]) == (2, "corrected", 100)
    assert after[OTHER][:2] == (1, "final")
    assert after["panel/elbow"][:2] == (2, "corrected")
    assert after["panel/wrist"][:2] == (1, "final")
    assert named(desk, exam_id, 1)[ARC][2]["valueQuantity"]["value"] == 110


def test_cor_03_an_amended_source_amends_what_is_computed_from_it():
    desk, exam_id = started()
    changed = arms()
    finding(changed, "flex")["note"] = "second look"
    corrected(desk, exam_id, changed)
    version, status, arc = named(desk, exam_id)[ARC]
    assert (version, status, arc["valueQuantity"]["value"]) == (2, "amended", 110)


@pytest.mark.parametrize("how", ["removed", "not tested"])
def test_cor_03_without_a_source_the_computed_value_is_entered_in_error(how):
    desk, exam_id = started()
    changed = arms()
    if how == "removed":
        without(changed, "ext")
    else:
        del finding(changed, "ext")["end"], finding(changed, "ext")["magnitude"]
        finding(changed, "ext")["absent"] = {"reason": "not-tested", "because": "pain"}
    corrected(desk, exam_id, changed)
    after = named(desk, exam_id)
    version, status, arc = after[ARC]
    assert (version, status, arc["valueQuantity"]["value"]) == (2, "entered-in-error", 110)
    members = after["panel/elbow"][2]["hasMember"]
    assert {"reference": f"Observation/{arc['id']}"} not in members
    told = judged(desk, exam_id)
    if how == "removed":
        assert ARC not in told
    else:
        assert told[ARC]["value"] is None
        assert "not tested (pain)" in told[ARC]["missing"][0]


def test_cor_03_what_is_computed_comes_back_with_its_source():
    desk, exam_id = started()
    changed = arms()
    end = finding(changed, "ext")
    del end["end"], end["magnitude"]
    end["absent"] = {"reason": "declined"}
    corrected(desk, exam_id, changed)
    corrected(desk, exam_id, arms(), expected=2)
    version, status, arc = named(desk, exam_id)[ARC]
    assert (version, status, arc["valueQuantity"]["value"]) == (3, "corrected", 110)


def test_cor_02_a_withdrawal_takes_what_is_computed_along():
    desk, exam_id = started()
    before = judged(desk, exam_id)
    desk.withdraw(exam_id, "wrong person", 1)
    after = named(desk, exam_id)
    assert {status for _, status, _ in after.values()} == {"entered-in-error"}
    assert judged(desk, exam_id) == before


def test_exm_14_a_draft_computes_preliminary_values_and_its_closing_makes_them_final():
    desk, exam_id = started({**arms(), "status": "preliminary"})
    assert named(desk, exam_id)[ARC][:2] == (1, "preliminary")
    desk.close(exam_id, 1)
    assert named(desk, exam_id)[ARC][:2] == (2, "final")


def test_cor_01_every_version_keeps_its_own_assessment():
    desk, exam_id = started()
    changed = arms()
    finding(changed, "flex")["angle"]["value"] = 120
    corrected(desk, exam_id, changed)
    assert [judged(desk, exam_id, n)[ARC]["value"] for n in (1, 2)] == [110, 100]


def test_what_only_repeats_one_finding_is_told_and_not_sent():
    content = exam()
    opposition = {"joint": "thumb-cmc", "motion": "opposition", "mode": "active"}
    content["findings"].append(
        {"key": "opp", "kind": "motion", "side": "right", **opposition, "grade": "6"}
    )
    desk, exam_id = started(content)
    keys = [key for key in judged(desk, exam_id) if "opposition-station" in key]
    assert len(keys) == 1
    assert keys[0] not in named(desk, exam_id)
