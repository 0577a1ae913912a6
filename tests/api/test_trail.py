"""The audit trail tells of everything that is done, tried and refused (AUD-01 to AUD-13)."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import zipfile

import pytest
from tests.api.serving import BASE, raw_example
from tests.oracles import balp, structure_401
from tests.oracles.invariants import complaints as broken_invariants
from tests.security.logins import Guarded

from brachium.api import trail
from brachium.coding.audit_event import KINDS
from brachium.records import AuditHead
from brachium.security.heads import is_signed, read_key
from brachium.store.port import StoreUnavailable

NAME = "stiff-shoulder"


@pytest.fixture
def told(tmp_path):
    """A service with clients, an exam in it, and somebody who looks at the trail."""
    with Guarded(tmp_path) as service:
        service.clinic = service.as_client()
        service.auditor = service.as_client("auditor", "system/*.rs")
        headers = {**service.clinic, "Content-Type": "application/json"}
        answer = service.ask("POST", "/exams", content=raw_example(NAME), headers=headers)
        assert answer.status_code == 201
        service.exam = answer.json()["id"]
        yield service


def asked(service, path, method="GET", who=None, **headers):
    return service.ask(method, path, headers={**(who or service.clinic), **headers})


def entries(service):
    return [row.entry for row in service.parts.store.audit()]


def events(service, query=""):
    answer = asked(service, f"/fhir/AuditEvent?_count=500&{query}", who=service.auditor)
    assert answer.status_code == 200, answer.text
    return [one["resource"] for one in answer.json().get("entry", ())]


def newest(service):
    return entries(service)[-1]


def observation(service):
    page = asked(service, "/fhir/Observation?_count=1").json()
    return page["entry"][0]["resource"]


def test_aud_01_each_interaction_adds_one_event_of_its_kind(told):
    one = observation(told)
    where = f"/fhir/Observation/{one['id']}"
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    paths = {
        ("GET", where): ("read", "R"),
        ("GET", f"{where}/_history/1"): ("vread", "R"),
        ("GET", f"{where}/_history"): ("history-instance", "E"),
        ("GET", "/fhir/Observation?status=final"): ("search-type", "E"),
        ("GET", "/fhir/Observation/_history"): ("history-type", "E"),
        ("GET", f"/exams/{told.exam}"): ("read", "R"),
        ("GET", f"/exams/{told.exam}/bundle"): ("read", "R"),
        ("GET", f"{one['subject']['reference'].join(('/fhir/', ''))}/$everything"): (
            "operation",
            "E",
        ),
        ("POST", "/exams?dry-run=true"): ("create", "C"),
    }
    for (method, path), (action, code) in paths.items():
        before = len(entries(told))
        body = raw_example(NAME) if method == "POST" else b""
        headers = {**told.clinic, "Content-Type": "application/json"} if body else told.clinic
        assert told.ask(method, path, content=body, headers=headers).status_code == 200, path
        assert len(entries(told)) == before + 1, path
        assert newest(told).action == action
        assert KINDS[newest(told).action].action == code
    before = len(entries(told))
    answer = told.ask(
        "POST",
        "/fhir/Observation/_search",
        content=b"status=final",
        headers={**told.clinic, **form},
    )
    assert answer.status_code == 200
    assert len(entries(told)) == before + 1
    assert newest(told).form == "status=final"


def test_aud_01_what_is_stored_is_told_in_the_same_transaction(told):
    (created,) = [one for one in entries(told) if one.action == "create"]
    assert (created.outcome, created.version, created.client) == ("created", 1, "app")
    assert created.seal
    assert created.stored == len(told.parts.store.resources(told.exam))
    headers = {**told.clinic, "Content-Type": "application/json", "If-Match": 'W/"1"'}
    body = json.dumps({"reason": "Wrong person."}).encode()
    told.ask("POST", f"/exams/{told.exam}/withdrawal", content=body, headers=headers)
    assert (newest(told).action, newest(told).outcome) == ("withdraw", "created")


def test_prv_03_the_source_of_a_provenance_is_what_the_audit_tells_of(told):
    page = asked(told, "/fhir/Provenance").json()
    (entity,) = page["entry"][0]["resource"]["entity"]
    (created,) = [one for one in entries(told) if one.action == "create"]
    assert entity["role"] == "source"
    assert entity["what"]["identifier"]["value"] == created.digest


def test_aud_01_logins_and_changes_of_clients_are_told(told):
    logins = [one for one in entries(told) if one.action == "login"]
    assert [one.client for one in logins] == ["app", "auditor"]
    added = [one for one in entries(told) if one.action == "configure"]
    assert [(one.client, one.reason) for one in added] == [
        (name, "client added") for name in ("app", "reader", "auditor")
    ]
    told.parts.clients.revoke("reader", told.clock())
    assert newest(told).reason == "client revoked"


def test_aud_02_aud_03_an_event_says_who_about_whom_and_what(told):
    one = observation(told)
    reference = f"Observation/{one['id']}"
    asked(told, f"/fhir/{reference}")
    (event,) = events(told, f"entity={reference}&action=R")
    client, server = event["agent"]
    assert client["who"]["identifier"]["value"] == "app"
    assert client["requestor"] is True
    assert (client["type"]["coding"][0]["code"], server["type"]["coding"][0]["code"]) == (
        "110152",
        "110153",
    )
    assert client["network"]["address"] == "127.0.0.1"
    assert client["role"] == [{"text": "clinic-app"}]
    whats = [entity["what"].get("reference") for entity in event["entity"] if "what" in entity]
    assert one["subject"]["reference"] in whats
    assert f"{reference}/_history/1" in whats
    (created,) = events(told, "action=C")
    assert [agent["type"]["coding"][0]["code"] for agent in created["agent"]] == [
        "110153",
        "110152",
    ]


def test_aud_04_a_search_keeps_its_query_and_no_name(told):
    path, form = "/fhir/Observation?status=final&_count=3", b"patient=Patient%2Fp-1&_count=1"
    asked(told, path)
    assert query_of(events(told, "subtype=search-type&action=E")[0]) == f"{BASE}{path}"
    media = {"Content-Type": "application/x-www-form-urlencoded"}
    path = "/fhir/Observation/_search?status=final"
    told.ask("POST", path, content=form, headers={**told.clinic, **media})
    event = events(told, "subtype=search-type&patient=Patient/p-1")[0]
    assert query_of(event) == f"{BASE}{path}\r\n\r\n{form.decode()}"


def query_of(event):
    (entity,) = [one for one in event["entity"] if "query" in one]
    assert "name" not in entity
    return base64.b64decode(entity["query"]).decode()


def test_aud_05_refusals_and_failures_are_told_with_whoever_tried(told):
    narrow = told.as_client("reader", "system/Observation.rs")
    assert asked(told, "/fhir/Patient", who=narrow).status_code == 403
    refused = newest(told)
    assert (refused.outcome, refused.client, refused.status) == ("refused", "reader", 403)
    assert told.get("/fhir/Patient").status_code == 401
    assert newest(told).status == 401
    assert told.login("no.such.assertion").status_code == 401
    assert (newest(told).action, newest(told).outcome) == ("login", "refused")
    assert {one["outcome"] for one in events(told, "outcome=4")} == {"4"}


def test_aud_05_a_failure_of_the_service_is_told(told, monkeypatch):
    def fail(*_args, **_more):
        raise RuntimeError("a secret of the patient")

    monkeypatch.setattr(told.parts.store, "read", fail)
    assert asked(told, "/fhir/Patient/x").status_code == 500
    assert (newest(told).outcome, newest(told).status) == ("failed", 500)


def test_aud_06_tokens_are_never_kept_but_their_names_are(told):
    token = told.clinic["Authorization"].removeprefix("Bearer ")
    asked(told, "/fhir/Patient")
    entry = newest(told)
    assert entry.policy
    text = str(entries(told))
    assert token not in text
    found = events(told, f"policy={entry.policy}")
    assert {tuple(one["agent"][0]["policy"]) for one in found} == {(entry.policy,)}


def test_err_06_the_id_of_the_request_is_in_the_event(told):
    asked(told, "/fhir/Patient", **{"X-Request-Id": "t-1"})
    found = [
        entity["what"]["identifier"]["value"]
        for entity in events(told, "subtype=search-type")[0]["entity"]
        if "identifier" in entity.get("what", {})
    ]
    assert found == ["t-1"]


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE"])
def test_aud_08_no_event_can_be_changed_from_outside(told, method):
    for who in (told.auditor, told.as_client("app", "system/*.cruds")):
        answer = asked(told, "/fhir/AuditEvent/audit-1", method, who)
        assert answer.status_code == 405
        assert method not in answer.headers["Allow"]
    assert events(told, "_id=audit-1")


def test_aud_09_an_auditor_searches_by_everything(told):
    one = observation(told)
    patient = one["subject"]["reference"]
    asked(told, f"/fhir/Observation/{one['id']}")
    system = "https://brachium.example.org/fhir/NamingSystem/client"
    for query, least in {
        f"patient={patient}": 2,
        f"patient={patient}&action=R": 1,
        f"entity=Observation/{one['id']}": 1,
        f"agent:identifier={system}|app": 3,
        "date=ge2026-01-01": 5,
        "type=rest": 3,
        "subtype=read": 1,
        "outcome=0": 4,
    }.items():
        assert len(events(told, query)) >= least, query
    assert events(told, "date=gt2999") == []
    recorded = [one["recorded"] for one in events(told, "_sort=-date")]
    assert recorded == sorted(recorded, reverse=True)
    ids = [int(one["id"].rpartition("-")[2]) for one in events(told, "_sort=date")]
    assert ids == sorted(ids)


def test_aud_10_reading_the_trail_needs_its_scope_and_is_told_itself(told):
    narrow = told.as_client("reader", "system/Observation.rs")
    assert asked(told, "/fhir/AuditEvent", who=narrow).status_code == 403
    own = told.as_client("auditor", "system/AuditEvent.rs")
    before = len(entries(told))
    assert asked(told, "/fhir/AuditEvent", who=own).status_code == 200
    assert len(entries(told)) == before + 1
    assert (newest(told).client, newest(told).path) == ("auditor", "/fhir/AuditEvent")


def test_aud_11_nothing_is_shown_or_stored_that_cannot_be_told(told, monkeypatch):
    one = observation(told)

    def unable(*_args, **_more):
        raise StoreUnavailable("no space")

    monkeypatch.setattr(told.parts.store, "record", unable)
    answer = asked(told, f"/fhir/Observation/{one['id']}")
    assert answer.status_code == 503
    assert one["id"] not in answer.text
    assert answer.headers["Retry-After"]
    monkeypatch.undo()
    monkeypatch.setattr(told.parts.store._chain, "append", unable)
    headers = {**told.clinic, "Content-Type": "application/json"}
    stored = told.ask("POST", "/exams", content=raw_example("draft"), headers=headers)
    assert stored.status_code == 503
    monkeypatch.undo()
    assert told.parts.store.search.__self__ is told.parts.store
    assert len([one for one in entries(told) if one.outcome == "created"]) == 1


def head_of(told):
    return AuditHead(*(told[name] for name in ("number", "hash", "at", "signature")))


def test_aud_12_the_head_is_signed_and_told(told):
    head = asked(told, "/audit/head", who=told.auditor).json()
    key = read_key(json.dumps(head["key"]).encode())
    kept = head_of(head)
    assert is_signed(kept, key)
    assert list(told.parts.store.breaks(told.parts.heads.is_signed, kept)) == []
    assert asked(told, "/audit/head").status_code == 403


def test_aud_13_the_evidence_of_an_exam_is_complete_and_its_manifest_is_told(told):
    asked(told, f"/exams/{told.exam}/bundle")
    finding = observation(told)
    asked(told, f"/fhir/Observation/{finding['id']}")
    # what is about the same patient and names something else stays out
    asked(told, f"/fhir/{finding['subject']['reference']}")
    answer = asked(told, f"/exams/{told.exam}/evidence", who=told.auditor)
    assert answer.status_code == 200
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    manifest = json.loads(files.pop("manifest.json"))["sha-256"]
    assert manifest == {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    assert json.loads(files["version-1/collection.json"])["type"] == "collection"
    events_of = [json.loads(line) for line in files["audit-events.ndjson"].splitlines()]
    assert {one["action"] for one in events_of} >= {"C", "R"}
    links = [json.loads(line) for line in files["audit-chain.ndjson"].splitlines()]
    assert [one["number"] for one in links] == [
        int(one["id"].rpartition("-")[2]) for one in events_of
    ]
    for link in links:
        text = link["number"].to_bytes(8) + bytes.fromhex(link["before"]) + link["entry"].encode()
        assert hashlib.sha256(text).hexdigest() == link["hash"]
    head = json.loads(files["audit-head.json"])
    assert head["number"] >= links[-1]["number"]
    assert is_signed(head_of(head), read_key(json.dumps(head["key"]).encode()))
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        digest = hashlib.sha256(archive.read("manifest.json")).hexdigest()
    assert newest(told).digest == digest
    assert asked(told, "/exams/unknown/evidence", who=told.auditor).status_code == 404


def test_bnd_05_the_digest_of_a_bundle_that_went_out_is_in_the_chain(told):
    answer = asked(told, f"/exams/{told.exam}/bundle?type=collection")
    digest = base64.b64encode(hashlib.sha256(answer.content).digest()).decode()
    assert newest(told).digest == digest
    assert answer.headers["Content-Digest"] == f"sha-256=:{digest}:"


def test_aud_02_every_event_is_valid_r4(told, fhir_definitions):  # noqa: ARG001
    observation(told)
    told.get("/fhir/Patient")
    found = events(told)
    assert found
    for event in found:
        assert structure_401.complaints(event) == []
        bundle = {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": event}]}
        assert broken_invariants(bundle) == []


def test_aud_02_aud_03_every_event_keeps_to_its_pattern(told):
    one = observation(told)
    for path in (f"/fhir/Observation/{one['id']}", f"/fhir/{one['subject']['reference']}"):
        for suffix in ("", "/_history/1"):
            assert asked(told, f"{path}{suffix}").status_code == 200
    for query in ("", f"?patient={one['subject']['reference']}"):
        assert asked(told, f"/fhir/Observation{query}").status_code == 200
    headers = {**told.clinic, "Content-Type": "application/json", "If-Match": 'W/"1"'}
    body = json.dumps({"reason": "Wrong person."}).encode()
    told.ask("POST", f"/exams/{told.exam}/withdrawal", content=body, headers=headers)
    found = events(told, "outcome=0&type=rest")
    kinds = {event["subtype"][0]["code"] for event in found}
    assert kinds >= balp.PATTERNS.keys()
    for event in found:
        assert balp.complaints(event) == [], event


def test_aud_03_a_search_that_finds_nothing_tells_whom_it_was_about(told):
    for name in ("patient", "subject"):
        path = f"/fhir/Observation?{name}=Patient/nobody-{name}"
        assert asked(told, path).json()["total"] == 0
        assert newest(told).patients == (f"Patient/nobody-{name}",)


def test_aud_05_a_refusal_tells_whose_record_somebody_tried_to_see(told):
    one = observation(told)
    narrow = told.as_client("app", "system/Organization.rs")
    assert asked(told, f"/fhir/Observation/{one['id']}", who=narrow).status_code == 403
    assert (newest(told).client, newest(told).data) == ("app", (f"Observation/{one['id']}",))
    assert asked(told, f"/exams/{told.exam}", who=narrow).status_code == 403
    (report,) = newest(told).data
    assert report.startswith("DiagnosticReport/")
    assert asked(told, "/patients/p-1/trend", who=narrow).status_code == 403
    assert newest(told).patients == ("Patient/p-1",)


def test_aud_05_somebody_without_a_login_is_called_so(told):
    assert told.get("/fhir/Patient").status_code == 401
    event = events(told, "outcome=4")[0]
    assert event["agent"][0]["who"] == {"display": "somebody without a login"}
    (added, *_) = events(told, "type=110113&_sort=date")
    assert added["agent"][0]["who"]["identifier"]["value"] == "on-this-machine"
    whats = [one["what"]["identifier"]["value"] for one in added["entity"] if "what" in one]
    assert whats == ["app"]


def test_aud_12_the_end_is_kept_now_and_then_and_at_the_close(told, monkeypatch):
    monkeypatch.setattr(trail, "CHECKPOINT_EVERY", 5)
    kept = told.parts.store.checkpointed
    for _ in range(6):
        assert asked(told, "/fhir/Patient").status_code == 200
    last = kept()
    assert last
    headers = {**told.clinic, "Content-Type": "application/json"}
    for number in range(6):
        # a repeat is told by the store itself
        answer = told.ask("POST", "/exams", content=raw_example(NAME), headers=headers)
        assert answer.status_code == 200, number
    assert kept() > last
    told.parts.heads.finish()
    assert kept() == told.parts.store.head().number - 1
    told.parts.heads.finish()
    assert kept() == told.parts.store.head().number - 1
    assert list(told.parts.store.breaks(told.parts.heads.is_signed)) == []


def test_aud_11_a_checkpoint_that_fails_takes_no_answer_away(told, monkeypatch):
    def unable(*_args, **_more):
        raise StoreUnavailable("no space")

    monkeypatch.setattr(trail, "CHECKPOINT_EVERY", 1)
    monkeypatch.setattr(told.parts.store, "checkpoint", unable)
    assert asked(told, "/fhir/Patient").status_code == 200


def test_what_comes_in_pieces_is_told_as_a_whole(told):
    assert asked(told, "/exams.csv").status_code == 200
    assert (newest(told).path, newest(told).patients) == ("/exams.csv", ())


def test_what_concerns_nobody_is_not_told(told):
    before = len(entries(told))
    for path in ("/live", "/ready", "/", "/docs", "/rules", "/fhir/metadata"):
        assert told.get(path).status_code == 200
    assert len(entries(told)) == before
