"""What a receiver may want otherwise, applied to what is stored."""

from __future__ import annotations

import json

import pytest
from tests.intake.desks import export, intake, tables
from tests.intake.exams import exam, raw

from brachium.export import Wanted, sided_codes
from brachium.formats.policy import OutputPolicy

SNOMED = "http://snomed.info/sct"
CANONICAL = "https://brachium.example.org/fhir"


@pytest.fixture(scope="module")
def made():
    desk = intake()
    return desk, desk.receive(raw(exam())).exam.id


def body(made, **wishes):
    desk, exam_id = made
    return export(desk).bundle(exam_id, "collection", 1, Wanted(OutputPolicy(**wishes)))


def observations(made, **wishes):
    entries = json.loads(body(made, **wishes))["entry"]
    return {
        e["resource"]["identifier"][0]["value"].partition("/")[2]: e["resource"]
        for e in entries
        if e["resource"]["resourceType"] == "Observation"
    }


def keys(concept):
    return {(one["system"], one["code"]) for one in concept.get("coding", ())}


def lateral():
    return sided_codes(tables(), CANONICAL)


def test_obs_05_side_in_site_leaves_no_code_with_a_side(made) -> None:
    before, after = observations(made), observations(made, side="site")
    assert any(keys(one["code"]) & lateral().codes for one in before.values())
    assert not any(keys(one["code"]) & lateral().codes for one in after.values())
    assert {k: v["bodySite"] for k, v in before.items()} == {
        k: v["bodySite"] for k, v in after.items()
    }
    assert all(one["code"]["coding"] for one in after.values())


def test_obs_05_side_in_code_leaves_no_structure_with_a_side(made) -> None:
    before, after = observations(made), observations(made, side="code")
    assert any(keys(one["bodySite"]) & set(lateral().sites) for one in before.values())
    assert not any(keys(one["bodySite"]) & set(lateral().sites) for one in after.values())
    for key, one in after.items():
        assert one["code"] == before[key]["code"]
        assert one["bodySite"]["text"] == before[key]["bodySite"]["text"]
        assert one["bodySite"]["extension"] == before[key]["bodySite"]["extension"]
        assert one["bodySite"]["coding"]


def test_obs_12_not_tested_can_leave_as_final_with_its_reason(made) -> None:
    before, after = observations(made), observations(made, not_tested="final")
    assert before["rotation"]["status"] == "cancelled"
    rotation = after["rotation"]
    assert rotation["status"] == "final"
    assert rotation["dataAbsentReason"] == before["rotation"]["dataAbsentReason"]
    assert "statusReason" not in json.dumps(rotation)
    assert {k: v for k, v in after.items() if k != "rotation"} == {
        k: v for k, v in before.items() if k != "rotation"
    }


def test_obs_12_a_draft_says_preliminary_instead_and_a_withdrawal_stays_one() -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam(status="preliminary"))).exam.id
    assert observations((desk, exam_id), not_tested="final")["rotation"]["status"] == "preliminary"
    desk.withdraw(exam_id, "why", 1)
    wish = Wanted(OutputPolicy(not_tested="final"))
    found = json.loads(export(desk).bundle(exam_id, "collection", 2, wish))
    statuses = {e["resource"].get("status") for e in found["entry"]}
    assert statuses == {None, "entered-in-error"}


def test_trm_05_snomed_ct_can_be_switched_off_without_losing_a_meaning(made) -> None:
    before, after = observations(made), observations(made, snomed=False)
    assert SNOMED in json.dumps(before)
    assert SNOMED not in json.dumps(after)
    for key, one in after.items():
        assert one["bodySite"]["coding"], key
        assert one["bodySite"]["text"] == before[key]["bodySite"]["text"]
        (side,) = one["bodySite"]["extension"]
        assert side["valueCodeableConcept"]["coding"][0]["code"].startswith("side-")


def test_trm_05_the_switch_gives_what_a_service_without_snomed_would_have_coded(made) -> None:
    plain = intake(snomed=False)
    exam_id = plain.receive(raw(exam())).exam.id
    assert observations(made, snomed=False) == observations((plain, exam_id))


@pytest.mark.parametrize("side", ["site", "code"])
def test_obs_05_the_side_switch_gives_what_such_a_service_would_have_coded(made, side) -> None:
    plain = intake(side=side)
    exam_id = plain.receive(raw(exam())).exam.id
    assert observations(made, side=side) == observations((plain, exam_id))


def test_neg_06_a_policy_touches_no_digit(made) -> None:
    for wishes in ({"snomed": False}, {"side": "site"}, {"not_tested": "final"}):
        changed = body(made, **wishes)
        assert changed != body(made)
        assert b'"value":175.0,' in changed
        assert b'"value":34.40,' in changed


def test_rows_that_a_policy_does_not_touch_keep_their_bytes(made) -> None:
    desk, exam_id = made
    changed = body(made, not_tested="final")
    for row in desk.desk.store.resources(exam_id):
        assert (row.text in changed) is (b'"status":"cancelled"' not in row.text)


def test_a_bundle_under_a_policy_has_a_name_of_its_own(made) -> None:
    names = {
        json.loads(body(made, **wishes))["identifier"]["value"]
        for wishes in ({}, {"snomed": False}, {"side": "site"}, {"not_tested": "final"})
    }
    assert len(names) == 4
