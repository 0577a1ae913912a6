"""Organizations kept apart: what belongs to others is not there (matrix SEC-12)."""

from __future__ import annotations

import json

import pytest
from tests.api.serving import FHIR_JSON, example
from tests.bulk.jobs import Exports
from tests.security.apart import Apart, Exam, calls, exam_there, form_here, page_of, same

from brachium.api.whose import whose
from brachium.store.isolated import IsolatedStore
from brachium.store.port import Contradiction, Store

REASON = "Read from the wrong scale."


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """The service as it would be without the first organization."""
    with Apart(tmp_path_factory.mktemp("alone") / "service") as service:
        yield service


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """The same service with two exams of the first organization, one of them a form."""
    with Apart(tmp_path_factory.mktemp("shared") / "service") as service:
        posted = example("stiff-shoulder")
        service.exams = [Exam(service, posted, service.exam("here", posted)["id"])]
        answer = service.call("here", "POST", "/fhir/QuestionnaireResponse", form_here())
        assert answer.status_code == 201, answer.text
        assert service.call("here", "GET", answer.headers["location"].split("/arm")[1]).is_success
        found = service.call("app", "GET", "/views/findings?_format=ndjson").text.splitlines()
        ids = {json.loads(line)["exam_id"] for line in found}
        (formed,) = ids - {service.exams[0].id, service.other["id"]}
        content = service.call("app", "GET", f"/exams/{formed}").json()["exam"]
        service.exams.append(Exam(service, content, formed))
        answer = service.call("here", "GET", "/fhir/$export", Prefer="respond-async")
        service.exams[1].job = answer.headers["content-location"].rpartition("/")[2]
        yield service


def _walk(service, client, of, only=("GET", "POST", "PUT", "DELETE")):
    Exports(service, **service.named(client)).carried_out()
    for one in calls(service, of):
        if one.method not in only:
            continue
        headers = {**one.options.get("headers", {}), **service.named(client)}
        if "$export" in one.path:
            headers["Prefer"] = "respond-async"
        yield one, service.ask(one.method, one.path, **{**one.options, "headers": headers})


def test_sec_12_no_address_tells_that_another_organization_is_there(alone, shared):
    # the form last: every address of the document has something to send then
    of = shared.exams[1]
    here = {call[:3]: same(answer) for call, answer in _walk(alone, "there", of)}
    with_others = {call[:3]: same(answer) for call, answer in _walk(shared, "there", of)}
    assert len(here) > 100
    assert {k: v for k, v in with_others.items() if v != here[k]} == {}


def test_sec_12_what_is_named_by_another_organization_is_404(shared):
    of = shared.exams[1]
    named = {"{exam_id}", "{resource_id}", "{patient_id}", "{report_id}", "{composition_id}"}
    found = {}
    for call, answer in _walk(shared, "there", of):
        if (named & set(call.template.split("/")) and call.template[-1] != "}") or (
            call.template == "/fhir/{resource_type}/{resource_id}" and call.method == "GET"
        ):
            found[call[:3]] = answer
    missing = [key for key, one in found.items() if one.status_code == 404]
    evidence = ("GET", "/exams/{exam_id}/evidence", f"/exams/{of.id}/evidence")
    # what all organizations are in together is not for one of them, whatever it asks about
    assert found.pop(evidence).status_code == 403
    # the compartment of a patient is a search, and may be empty
    rest = {key: one for key, one in found.items() if key not in missing}
    assert {key[1] for key in rest} <= {"/fhir/Patient/{patient_id}/{resource_type}"}
    assert all(one.json()["total"] == 0 for one in rest.values())
    assert len(missing) > 80


def test_sec_12_its_own_organization_reads_all_of_it(shared):
    of = shared.exams[1]
    failed = {
        call[:3]: answer.text
        for call, answer in _walk(shared, "here", of, ("GET",))
        if not answer.is_success
    }
    # these are in the record of no patient
    for kind in ("Patient", "Practitioner", "Organization"):
        path = f"/fhir/Patient/{of.patient}/{kind}"
        failed.pop(("GET", "/fhir/Patient/{patient_id}/{resource_type}", path))
    assert {path for _, path, _ in failed} <= {
        "/exams/{exam_id}/evidence",
        "/audit/head",
        "/metrics",
        "/fhir/Group/{group_id}/$export",
    }, failed


@pytest.mark.parametrize("kind", ["Observation", "DiagnosticReport", "Provenance", "Patient"])
def test_sec_12_totals_add_up(shared, kind):
    def total(client):
        return shared.call(client, "GET", f"/fhir/{kind}?_summary=count").json()["total"]

    assert total("here") > 0 < total("there")
    assert total("here") + total("there") == total("app")
    paths = (f"/fhir/{kind}/_history", "/fhir/_history")
    for path in paths:
        counts = [shared.call(one, "GET", path).json()["total"] for one in ("here", "there", "app")]
        assert counts[0] + counts[1] == counts[2] > counts[0] > 0


def test_sec_12_a_link_to_a_page_is_of_no_use_to_another_organization(shared):
    first = shared.call("here", "GET", "/fhir/Observation?_count=2")
    following = page_of(first, "next")
    assert shared.call("here", "GET", following).json()["entry"]
    assert shared.call("there", "GET", following).status_code == 400


def test_sec_12_an_export_holds_what_its_client_sees(shared):
    of = {(one["resourceType"], one["id"]) for exam in shared.exams for one in exam.resources}
    Exports(shared, **shared.named("here")).carried_out()
    for path in ("/fhir/$export", "/fhir/Patient/$export"):
        exported = Exports(shared, **shared.named("here")).exported(path)
        found = {(one["resourceType"], one["id"]) for one in exported}
        kinds = {one["resourceType"] for one in exported}
        assert found == {name for name in of if name[0] in kinds}
        assert kinds >= {"Patient", "Observation", "DiagnosticReport", "Provenance"}
    there = Exports(shared, **shared.named("there")).exported()
    assert not of & {(one["resourceType"], one["id"]) for one in there}
    assert {one["resourceType"] for one in there} >= {"Patient", "Observation", "Provenance"}


def test_sec_12_an_exam_of_another_facility_is_refused(shared):
    exam = example("draft")
    for path in ("/exams", "/exams?dry-run=true"):
        answer = shared.call("there", "POST", path, exam, Accept=FHIR_JSON)
        assert answer.status_code == 422
        (issue,) = [one for one in answer.json()["issue"] if one["severity"] == "error"]
        assert issue["details"]["coding"][0]["code"] == "facility-elsewhere"
        assert "facility" in json.dumps(issue["expression"])
        assert "Name the organization of the client as the facility" in json.dumps(issue)
    assert shared.call("here", "POST", "/exams?dry-run=true", exam).status_code == 200


@pytest.fixture
def fresh(tmp_path):
    with Apart(tmp_path / "service") as service:
        yield service


def test_sec_12_an_exam_stays_with_its_facility(fresh):
    exam = exam_there("SQ-2-002")
    receipt = fresh.exam("there", exam)
    moved = json.loads(json.dumps(exam))
    moved["facility"]["identifier"]["value"] = "SQ-1"
    path, body = f"/exams/{receipt['id']}", {"exam": moved, "reason": REASON}
    for client, code in (("app", "facility-changed"), ("there", "facility-elsewhere")):
        answer = fresh.call(client, "PUT", path, body, If_Match='W/"1"')
        assert answer.status_code == 422
        assert code in answer.text
    assert fresh.call("here", "PUT", path, body, If_Match='W/"1"').status_code == 404
    note = {"exam": {**exam, "note": "Read again."}, "reason": REASON}
    assert fresh.call("there", "PUT", path, note, If_Match='W/"1"').status_code == 200
    withdrawal = {"reason": REASON}
    gone = fresh.call("there", "POST", f"{path}/withdrawal", withdrawal, If_Match='W/"2"')
    assert gone.status_code == 200
    assert fresh.call("there", "GET", f"{path}/versions").json()["versions"][0]["version"] == 3
    assert fresh.call("here", "GET", f"{path}/versions").status_code == 404


def test_sec_12_a_patient_of_two_organizations_is_seen_by_both_with_own_exams(fresh):
    def total(client, kind):
        query = f"/fhir/{kind}?patient=Patient/{patient}&_summary=count"
        return fresh.call(client, "GET", query).json()["total"]

    here = example("stiff-shoulder")
    fresh.exam("here", here)
    patient = Exam(fresh, here, fresh.call("here", "POST", "/exams", here).json()["id"]).patient
    path = f"/fhir/Patient/{patient}"
    assert fresh.call("there", "GET", path).status_code == 404
    before = fresh.call("there", "GET", "/fhir/Patient?_count=1&_sort=_id")
    there = exam_there("SQ-2-003")
    there["patient"] = {**here["patient"], "dominantHand": "left"}
    fresh.exam("there", there)
    # a second version of the patient now, brought by the second organization
    for client in ("here", "there"):
        assert fresh.call(client, "GET", path).headers["etag"] == 'W/"2"'
        assert fresh.call(client, "GET", f"{path}/_history").json()["total"] == 2
        assert fresh.call(client, "GET", f"{path}/_history/1").status_code == 200
        assert fresh.call(client, "GET", f"/fhir/Patient?_id={patient}").json()["total"] == 1
        trend = fresh.call(client, "GET", f"/patients/{patient}/trend").json()
        assert len(trend["exams"]) == 1
        everything = fresh.call(client, "GET", f"{path}/$everything").json()["entry"]
        kinds = [one["resource"]["resourceType"] for one in everything]
        assert kinds.count("DiagnosticReport") == 1
    assert total("here", "DiagnosticReport") == total("there", "DiagnosticReport") == 1
    assert total("app", "DiagnosticReport") == 2
    query = f"_id={patient}&_revinclude=Provenance:target"
    found = [
        fresh.call(client, "GET", f"/fhir/Patient?{query}").json()["entry"]
        for client in ("here", "there", "app")
    ]
    included = [sum(one["search"]["mode"] == "include" for one in entries) for entries in found]
    assert included[0] + included[1] == included[2]
    # a walk that began before sees what was there then
    assert before.json()["total"] == 1


def test_sec_12_an_identifier_that_is_taken_says_no_more_than_that(fresh):
    fresh.exam("here", example("stiff-shoulder"))
    exam = exam_there(example("stiff-shoulder")["identifier"]["value"])
    answer = fresh.call("there", "POST", "/exams", exam)
    assert answer.status_code == 409
    assert "location" not in answer.headers
    assert "SQ-1" not in answer.text


def test_sec_12_nobody_of_one_organization_sees_the_trail_of_all(shared):
    for client in ("watcher", "here"):
        answer = shared.call(client, "GET", "/fhir/AuditEvent")
        assert answer.status_code == 403
        answer = shared.call(client, "GET", "/audit/head")
        assert answer.status_code == 403
        for path in (f"/exams/{shared.exams[0].id}/evidence", "/metrics"):
            answer = shared.call(client, "GET", path)
            assert answer.status_code == 403
    assert shared.call("app", "GET", "/metrics").status_code == 200


def test_sec_12_the_store_is_closed_to_whoever_is_not_named(tmp_path):
    with Apart(tmp_path / "service") as service:
        store = IsolatedStore(service.parts.store, whose)
        for ask in (
            lambda: store.exam(service.other["id"]),
            lambda: store.versions(service.other["id"]),
            lambda: store.resources(service.other["id"]),
            lambda: store.read("Patient", "p"),
            lambda: store.read_many([("Patient", "p")]),
            lambda: store.history(None),
            lambda: store.exams(None, 10),
            lambda: store.audit(),
        ):
            with pytest.raises(RuntimeError, match="nobody said"):
                ask()


def test_sec_12_the_store_keeps_no_exam_of_another_organization(tmp_path):
    with Apart(tmp_path / "service") as service:
        own = service.parts.store.exam(service.other["id"])
        store = IsolatedStore(service.parts.store, lambda: "another")
        with pytest.raises(Contradiction):
            store.add(own, None)


def test_sec_12_every_method_of_the_store_is_narrowed_or_tells_of_no_exam():
    promised = {name for name in vars(Store) if not name.startswith("_")}
    assert promised <= set(vars(IsolatedStore))
