"""Error answers: their form under /fhir and elsewhere, and what they never hold (matrix ERR)."""

from __future__ import annotations

import json
import logging
import re

import pytest
from tests.api.serving import BASE, FHIR_JSON, example, raw_example

from brachium.api.faults import STATUSES
from brachium.store.port import StoreUnavailable
from brachium.store.sqlite import SqliteStore

ISSUE_TYPES = {
    *("invalid", "structure", "required", "value", "invariant", "security", "login", "unknown"),
    *("expired", "forbidden", "suppressed", "processing", "not-supported", "duplicate"),
    *("multiple-matches", "not-found", "deleted", "too-long", "code-invalid", "extension"),
    *("too-costly", "business-rule", "conflict", "transient", "lock-error", "no-store"),
    *("exception", "timeout", "incomplete", "throttled", "informational"),
}
EXPRESSION = re.compile(r"[A-Za-z]+(\.[A-Za-z]+(\[\d+\])?)*|http\.[A-Za-z_.-]+")
# names that no answer and no log line may hold
PLANTED = ("Zebulon", "Quartermaine", "1911-11-11", "wept all morning")


def ours(caplog) -> str:
    """What was logged, without the lines of the client that asks."""
    return "\n".join(
        record.getMessage() for record in caplog.records if not record.name.startswith("httpx")
    )


def planted():
    exam = example("stiff-shoulder")
    exam["patient"]["identifier"]["value"] = "Zebulon-Quartermaine"
    exam["patient"]["birthDate"] = "1911-11-11"
    exam["note"] = "Zebulon Quartermaine wept all morning"
    return exam


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", "/fhir", {}, 405),
        ("GET", "/fhir/", {}, 405),
        ("GET", "/fhir/Observation/nope", {}, 404),
        ("GET", "/fhir/Nothing", {}, 404),
        ("GET", "/fhir/a/b/c/d/e", {}, 404),
        ("DELETE", "/fhir/Observation/x", {}, 405),
        ("POST", "/fhir/Observation", {}, 405),
        ("GET", "/fhir/Observation/x", {"Accept": "text/turtle"}, 406),
        ("GET", "/fhir/Observation?patient=a%20b", {}, 400),
        ("GET", "/fhir/metadata?unknown=1", {}, 400),
        ("POST", "/fhir/Observation", {"Content-Length": "999999999"}, 413),
    ],
)
def test_err_01_err_02_every_error_under_fhir_is_an_outcome(service, method, path, headers, status):
    answer = service.ask(method, path, headers=headers)
    assert answer.status_code == status
    assert answer.headers["content-type"] == FHIR_JSON
    body = answer.json()
    assert body["resourceType"] == "OperationOutcome"
    assert any(one["severity"] == "error" for one in body["issue"])
    for issue in body["issue"]:
        assert issue["code"] in ISSUE_TYPES
        assert "location" not in issue
        for expression in issue.get("expression", ()):
            assert EXPRESSION.fullmatch(expression), expression


def test_err_01_a_failure_inside_is_an_outcome_too(service, monkeypatch):
    def broken(*_args):
        raise RuntimeError("Zebulon")

    monkeypatch.setattr(type(service.parts.store), "read", broken)
    answer = service.get("/fhir/Observation/x")
    assert answer.status_code == 500
    assert answer.json()["issue"][0]["code"] == "exception"
    assert "Zebulon" not in answer.text


def test_405_names_every_method_of_the_address(service):
    answer = service.ask("DELETE", "/exams/x")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, HEAD, PUT"
    assert service.ask("GET", "/exams").headers["allow"] == "POST"


def test_elsewhere_errors_are_problem_details(service):
    answer = service.get("/nowhere")
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert set(body) == {"type", "title", "status", "detail", "problems", "requestId"}
    assert (body["status"], body["title"]) == (404, "Not Found")
    assert body["type"] == f"{BASE}/rules/no-such-address"


def test_err_02_every_status_has_an_issue_type_of_r4():
    assert {one.issue_type for one in STATUSES.values()} <= ISSUE_TYPES


def test_err_04_every_code_in_an_answer_is_documented(service):
    listed = {one["code"] for one in service.get("/rules").json()["rules"]}
    systems = service.get("/fhir/CodeSystem/problem-codes").json()
    assert {one["code"] for one in systems["concept"]} == listed | {"all-well"}
    answers = [
        service.post("/exams", raw_example(f"refused/{name}"))
        for name in ("not-json", "five-at-once", "missing-side", "unknown-field", "key-used-twice")
    ]
    answers += [service.post("/exams", raw_example("healthy-adult")), service.get("/nowhere")]
    stored = answers[-2].json()
    for body in ({}, {"reason": 1}, {"exam": 1, "x": 2}):
        answers.append(service.put(f"/exams/{stored['id']}", body, If_Match='W/"1"'))
    service.post(f"/exams/{stored['id']}/withdrawal", {"reason": "x"}, If_Match='W/"1"')
    answers.append(service.post("/exams", raw_example("healthy-adult")))
    answers.append(service.ask("POST", f"/exams/{stored['id']}/close", headers={"If-Match": '"2"'}))
    used = {one["code"] for answer in answers for one in answer.json()["problems"]}
    assert len(used) > 12
    assert used - listed == set()


def test_err_05_no_patient_data_in_errors_or_logs(service, caplog):
    bad = planted()
    bad["findings"][0]["side"] = "Zebulon"
    bad["Quartermaine"] = 1
    changed = planted()
    del changed["findings"][-1]
    with caplog.at_level(logging.DEBUG):
        stored = service.post("/exams", planted()).json()
        where = f"/exams/{stored['id']}"
        answers = [
            service.post("/exams", json.dumps(planted()).encode()[:-2]),
            service.post("/exams", changed),
            service.put(where, {"exam": planted(), "Zebulon": 1}, If_Match='W/"1"'),
            service.put(where, {"exam": planted(), "reason": ["Zebulon"]}, If_Match='W/"1"'),
            service.post("/exams?name=Zebulon", planted()),
            service.get("/fhir/Patient?identifier=Zebulon|Quarter|maine"),
            service.get("/exams/Zebulon Quartermaine"),
            service.get("/fhir/Patient/Zebulon-Quartermaine"),
            service.post(f"{where}/withdrawal", {"reason": ""}, If_Match='"Zebulon"'),
        ]
        refused = service.post("/exams", bad)
    assert stored["version"] == 1
    assert all(answer.status_code >= 400 for answer in answers)
    assert refused.status_code == 422
    for word in PLANTED:
        for answer in answers:
            assert word not in answer.text
        assert word not in ours(caplog)
    for word in ("Zebulon", "1911-11-11", "wept all morning"):
        assert word not in refused.text


def test_err_05_a_failing_store_tells_nothing(service, caplog, monkeypatch):
    def broken(*_args):
        raise RuntimeError("INSERT INTO exam VALUES ('Zebulon Quartermaine')")

    monkeypatch.setattr(SqliteStore, "add", broken)
    with caplog.at_level(logging.DEBUG):
        answer = service.post("/exams", planted())
    assert answer.status_code == 500
    for word in (*PLANTED, "INSERT", "Traceback", "SELECT"):
        assert word not in answer.text
        assert word not in ours(caplog)


@pytest.mark.parametrize("accept", ["application/json", FHIR_JSON])
def test_err_08_a_store_that_is_away_is_503_with_retry_after(service, monkeypatch, accept):
    def away(*_args, **_named):
        raise StoreUnavailable("SQLite: disk I/O error at Zebulon")

    monkeypatch.setattr(SqliteStore, "add", away)
    answer = service.post("/exams", planted(), Accept=accept)
    assert answer.status_code == 503
    assert answer.headers["retry-after"]
    assert "Zebulon" not in answer.text
    if accept == FHIR_JSON:
        assert answer.json()["issue"][0]["code"] == "no-store"


def test_ops_02_live_and_ready_differ(service, monkeypatch):
    assert service.get("/ready").status_code == 200
    monkeypatch.setattr(SqliteStore, "ready", lambda _self: False)
    answer = service.get("/ready")
    assert answer.status_code == 503
    assert answer.headers["retry-after"]
    assert answer.json()["problems"][0]["code"] == "store-unavailable"
    assert service.get("/live").status_code == 200


def test_ops_01_spoofed_addresses_change_nothing(service):
    spoofed = {
        "X-Forwarded-Host": "evil.example.net",
        "X-Forwarded-Proto": "gopher",
        "X-Forwarded-Prefix": "/evil",
        "Forwarded": "host=evil.example.net;proto=gopher",
    }
    headers = {"Content-Type": "application/json", **spoofed}
    answer = service.ask("POST", "/exams", content=raw_example("child"), headers=headers)
    assert answer.status_code == 201
    where = f"/exams/{answer.json()['id']}"
    told = [
        answer,
        *(
            service.ask("GET", path, headers=spoofed)
            for path in (
                where,
                f"{where}/bundle",
                f"{where}/versions",
                "/",
                "/fhir/Observation",
                "/fhir/metadata",
                "/exams/",
                "/nowhere",
                "/openapi.json",
            )
        ),
    ]
    for one in told:
        assert "evil" not in one.text
        assert "evil" not in str(one.headers)
        assert one.status_code < 300 or one.status_code == 404
