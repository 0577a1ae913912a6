"""Groups of patients, and the Provenance of what is exported."""

from __future__ import annotations

from tests.api.serving import example
from tests.bulk.jobs import named, post, stored, types, withdraw
from tests.bulk.test_kick_off import refused

ELSEWHERE = {"system": "https://saltmarsh.example.org/fid/facility", "value": "SQ-9"}


def elsewhere(number: int = 1) -> dict:
    """An exam of another patient at another place."""
    exam = example("stiff-shoulder")
    exam["identifier"]["value"] = f"AWAY-{number}"
    exam["patient"]["identifier"]["value"] = f"P-AWAY-{number}"
    exam["facility"] = {"identifier": ELSEWHERE}
    return exam


def group_at(serving, place: dict) -> dict:
    query = f"identifier={place['system']}|{place['value']}"
    found = serving.get(f"/fhir/Group?{query}")
    assert found.status_code == 200
    (entry,) = found.json()["entry"]
    return entry["resource"]


def test_blk_18_a_group_is_found_by_identifier_and_read(fresh):
    post(fresh.serving, elsewhere())
    group = group_at(fresh.serving, ELSEWHERE)
    assert (group["resourceType"], group["type"], group["actual"]) == ("Group", "person", True)
    assert fresh.serving.get(f"/fhir/Group/{group['id']}").json() == group
    every = fresh.serving.get("/fhir/Group").json()
    organizations = {key[1] for key in stored(fresh.serving) if key[0] == "Organization"}
    assert {one["resource"]["id"] for one in every["entry"]} == organizations
    assert len(organizations) == 2
    refused(fresh.serving.get("/fhir/Group/nobody"), 404)
    refused(fresh.ask("/fhir/Group/nobody/$export"), 404)


def test_blk_18_the_export_of_a_group_holds_its_members_and_nobody_else(fresh):
    receipt = post(fresh.serving, elsewhere())
    withdraw(fresh.serving, receipt)
    group = group_at(fresh.serving, ELSEWHERE)
    found = named(fresh.exported(f"/fhir/Group/{group['id']}/$export"))
    everything = stored(fresh.serving)
    (patient,) = [key[1] for key in found if key[0] == "Patient"]
    reference = f"Patient/{patient}"
    own = {
        k: one for k, one in everything.items() if one.get("subject") == {"reference": reference}
    }
    assert own
    assert {k: one for k, one in found.items() if "subject" in one} == own
    assert {k for k in found if k[0] == "Organization"} == {("Organization", group["id"])}
    told = [one for k, one in found.items() if k[0] == "Provenance"]
    assert len(told) == 2
    targets = {t["reference"].split("/_history")[0] for one in told for t in one["target"]}
    assert targets & {"/".join(key) for key in own}
    assert all(everything[key] == one for key, one in found.items())


def test_blk_18_records_of_a_member_come_from_wherever_they_are(fresh):
    here = elsewhere(1)
    post(fresh.serving, here)
    other = {**example("stiff-shoulder"), "patient": here["patient"]}
    other["identifier"] = {**other["identifier"], "value": "AWAY-2"}
    receipt = post(fresh.serving, other)
    group = group_at(fresh.serving, ELSEWHERE)
    found = named(fresh.exported(f"/fhir/Group/{group['id']}/$export"))
    assert {key[1] for key in found if key[0] == "Patient"}
    reports = [one for key, one in found.items() if key[0] == "DiagnosticReport"]
    assert {one["identifier"][0]["value"] for one in reports} == {"AWAY-1", "AWAY-2"}
    assert receipt["id"]


def test_blk_18_only_members_can_be_named(fresh):
    post(fresh.serving, elsewhere())
    group = group_at(fresh.serving, ELSEWHERE)
    strangers = {
        one["subject"]["reference"]
        for key, one in stored(fresh.serving).items()
        if key[0] == "DiagnosticReport"
        and {"reference": f"Organization/{group['id']}"} not in one["performer"]
    }
    assert strangers
    parameter = {"name": "patient", "valueReference": {"reference": strangers.pop()}}
    refused(fresh.posted(f"/fhir/Group/{group['id']}/$export", parameter), 400, "patient")


def targets_of(resources: list[dict]) -> set[str]:
    told = [one for one in resources if one["resourceType"] == "Provenance"]
    return {target["reference"] for one in told for target in one["target"]}


def test_blk_19_provenance_comes_by_default_with_targets_in_the_set(exports):
    found = exports.exported()
    names = {f"{one['resourceType']}/{one['id']}" for one in found}
    targets = {one.split("/_history")[0] for one in targets_of(found)}
    assert targets
    assert targets <= names


def test_blk_19_the_latest_provenance_is_that_of_the_newest_versions(fresh):
    withdraw(fresh.serving, fresh.serving.receipts[0])
    path = "/fhir/$export?_type=Observation"
    latest = fresh.exported(f"{path}&includeAssociatedData=LatestProvenanceResources")
    relevant = fresh.exported(f"{path}&includeAssociatedData=RelevantProvenanceResources")
    assert types(latest) == types(relevant) == {"Observation", "Provenance"}
    newest = {
        f"Observation/{one['id']}/_history/{one['meta']['versionId']}"
        for one in latest
        if one["resourceType"] == "Observation"
    }
    assert newest <= targets_of(latest)
    count = {
        name: sum(one["resourceType"] == "Provenance" for one in found)
        for name, found in (("latest", latest), ("relevant", relevant))
    }
    assert count["relevant"] == count["latest"] + 1
