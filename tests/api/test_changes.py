"""Corrections and withdrawals over HTTP (matrix COR)."""

from __future__ import annotations

import pytest
from tests.api.serving import FHIR_JSON, example, inside, raw_example

REASON = "The goniometer was read from the wrong side."


def corrected():
    """The stiff shoulder with one angle a degree smaller."""
    exam = example("stiff-shoulder")
    angled = next(one for one in exam["findings"] if "angle" in one)
    angled["angle"]["value"] -= 1
    return angled["key"], exam


def observation(service, exam_id, key, version=None):
    """The Observation of a finding in an exam version."""
    pinned = f"&version={version}" if version else ""
    bundle = service.get(f"/exams/{exam_id}/bundle?type=collection{pinned}").json()
    (found,) = [
        entry["resource"]
        for entry in bundle["entry"]
        if entry["resource"]["resourceType"] == "Observation"
        and entry["resource"]["identifier"][0]["value"].endswith(f"/{key}")
    ]
    return found


def test_cor_01_a_correction_is_a_new_version_and_keeps_the_old_one(service, stored):
    key, exam = corrected()
    before = observation(service, stored["id"], key)
    answer = service.put(
        f"/exams/{stored['id']}", {"reason": REASON, "exam": exam}, If_Match='W/"1"'
    )
    assert answer.status_code == 200, answer.text
    assert answer.headers["etag"] == 'W/"2"'
    assert answer.json()["status"] == "corrected"
    after = observation(service, stored["id"], key)
    assert (after["status"], after["meta"]["versionId"]) == ("corrected", "2")
    assert after["id"] == before["id"]
    assert observation(service, stored["id"], key, 1) == before
    first = service.get(f"/fhir/Observation/{before['id']}/_history/1")
    assert first.json() == before


def test_cor_01_a_correction_without_reason_is_refused(service, stored):
    _, exam = corrected()
    for body in ({"exam": exam}, {"reason": "  ", "exam": exam}):
        answer = service.put(f"/exams/{stored['id']}", body, If_Match='W/"1"')
        assert answer.status_code == 422, body.keys()
        assert "/reason" in {one["pointer"] for one in answer.json()["problems"]}
    assert service.get(f"/exams/{stored['id']}").headers["etag"] == 'W/"1"'


def test_a_change_has_to_name_its_version(service, stored):
    _, exam = corrected()
    body = {"reason": REASON, "exam": exam}
    where = f"/exams/{stored['id']}"
    calls = [
        ("PUT", where, body),
        ("POST", f"{where}/withdrawal", {"reason": REASON}),
        ("POST", f"{where}/close", {}),
    ]
    for method, path, content in calls:
        assert service.ask(method, path, json=content).status_code == 428, path
        stale = service.ask(method, path, json=content, headers={"If-Match": 'W/"7"'})
        assert stale.status_code == 412, path
        odd = service.ask(method, path, json=content, headers={"If-Match": '"abc"'})
        assert odd.status_code == 412, path
    assert service.get(where).headers["etag"] == 'W/"1"'


def test_stale_and_missing_preconditions_as_outcome(service, stored):
    where = f"/exams/{stored['id']}/withdrawal"
    missing = service.post(where, {"reason": REASON}, Accept=FHIR_JSON)
    assert missing.json()["issue"][0]["expression"] == ["http.If-Match"]
    stale = service.post(where, {"reason": REASON}, Accept=FHIR_JSON, If_Match='W/"2"')
    assert stale.json()["issue"][0]["code"] == "conflict"


def test_cor_02_a_withdrawal_reaches_every_resource(service, stored):
    answer = service.post(f"/exams/{stored['id']}/withdrawal", {"reason": REASON}, If_Match='W/"1"')
    assert answer.status_code == 200, answer.text
    assert answer.json()["status"] == "entered-in-error"
    bundle = service.get(f"/exams/{stored['id']}/bundle").json()
    own = [
        entry["resource"]
        for entry in bundle["entry"]
        if entry["resource"]["resourceType"] in ("Observation", "DiagnosticReport")
    ]
    assert len(own) > 20
    assert {one["status"] for one in own} == {"entered-in-error"}
    report = service.get(inside(stored["links"]["report"])).json()
    assert "withdrawn" in report["conclusion"].lower()


@pytest.mark.parametrize("body", [{}, {"reason": ""}, {"reason": 3}, {"reason": REASON, "x": 1}])
def test_cor_02_a_withdrawal_needs_a_reason_and_nothing_else(service, stored, body):
    answer = service.post(f"/exams/{stored['id']}/withdrawal", body, If_Match='W/"1"')
    assert answer.status_code == 422


def test_cor_04_what_was_withdrawn_stays_so(service, stored):
    where = f"/exams/{stored['id']}"
    service.post(f"{where}/withdrawal", {"reason": REASON}, If_Match='W/"1"')
    _, exam = corrected()
    answer = service.put(
        where, {"reason": REASON, "exam": exam}, If_Match='W/"2"', Accept=FHIR_JSON
    )
    assert answer.status_code == 422
    assert answer.json()["issue"][0]["code"] == "business-rule"
    assert service.post("/exams", raw_example("stiff-shoulder")).status_code == 409


def test_cor_04_final_never_becomes_a_draft(service, stored):
    _, exam = corrected()
    exam["status"] = "preliminary"
    body = {"reason": REASON, "exam": exam}
    assert service.put(f"/exams/{stored['id']}", body, If_Match='W/"1"').status_code == 422


def test_cor_06_provenance_of_a_correction(service, stored):
    key, exam = corrected()
    service.put(f"/exams/{stored['id']}", {"reason": REASON, "exam": exam}, If_Match='W/"1"')
    changed = observation(service, stored["id"], key)
    found = service.get(f"/fhir/Provenance?target=Observation/{changed['id']}").json()
    assert found["total"] == 2
    records = sorted((one["resource"] for one in found["entry"]), key=lambda one: one["recorded"])
    revised = {
        one["what"]["reference"] for one in records[1]["entity"] if one["role"] == "revision"
    }
    assert f"Observation/{changed['id']}/_history/1" in revised
    assert records[1]["reason"][0]["text"] == REASON


def test_cor_07_the_patient_never_changes(service, stored):
    _, exam = corrected()
    exam["patient"]["identifier"]["value"] = "P-OTHER"
    body = {"reason": REASON, "exam": exam}
    answer = service.put(f"/exams/{stored['id']}", body, If_Match='W/"1"')
    assert answer.status_code == 422
    assert "/patient/identifier" in {one["pointer"] for one in answer.json()["problems"]}


def test_changes_of_an_exam_that_is_not_there(service):
    where = "/exams/63f096a3-031a-5834-afd3-000000000000"
    assert service.get(where).status_code == 404
    answer = service.post(f"{where}/withdrawal", {"reason": REASON}, If_Match='W/"1"')
    assert answer.status_code == 404


def test_a_bad_exam_is_no_correction(service, stored):
    _, exam = corrected()
    del exam["findings"][0]["side"]
    body = {"reason": REASON, "exam": exam}
    answer = service.put(f"/exams/{stored['id']}", body, If_Match='W/"1"')
    assert answer.status_code == 422
    assert "/findings/0/side" in {one["pointer"] for one in answer.json()["problems"]}


def test_versions_are_listed_newest_first(service, stored):
    _, exam = corrected()
    service.put(f"/exams/{stored['id']}", {"reason": REASON, "exam": exam}, If_Match='W/"1"')
    rows = service.get(f"/exams/{stored['id']}/versions").json()["versions"]
    assert [one["version"] for one in rows] == [2, 1]
    assert [one["status"] for one in rows] == ["corrected", "final"]
    assert rows[0]["reason"] == REASON
    for row in rows:
        for link in row["links"].values():
            assert service.get(inside(link)).status_code == 200


def test_an_exam_is_read_with_its_etag_and_304(service, stored):
    where = f"/exams/{stored['id']}"
    answer = service.get(where)
    assert answer.headers["etag"] == 'W/"1"'
    assert answer.json()["exam"]["identifier"] == stored["identifier"]
    same = service.get(where, If_None_Match='W/"1"')
    assert (same.status_code, same.content) == (304, b"")
    assert service.get(where, If_None_Match='W/"2"').status_code == 200
    assert service.get(f"{where}?version=2").status_code == 404
