"""A few thousand of the requests that the two commands send by the ten thousand."""

from __future__ import annotations

import httpx
import pytest
from tests.api.serving import Serving
from tests.fuzz import openapi
from tests.fuzz.fuzzing import Call, complaint, fuzzed

CALL = Call("GET", "/fhir/Observation", {})
OUTCOME = {"resourceType": "OperationOutcome", "issue": [{"severity": "warning"}]}


@pytest.mark.parametrize(
    ("status", "body", "why"),
    [
        (500, {}, "status 500"),
        (404, None, "no JSON"),
        (404, {"resourceType": "Bundle"}, "no OperationOutcome"),
        (422, OUTCOME, "no error in the OperationOutcome"),
        (200, {}, ""),
    ],
)
def test_what_is_wrong_with_an_answer_is_seen(status, body, why):
    request = httpx.Request("GET", "http://127.0.0.1/fhir/Observation")
    answer = httpx.Response(status, json=body, request=request)
    if body is None:
        answer = httpx.Response(status, text="<html>", request=request)
    assert complaint(CALL, answer) == why


def test_err_01_exm_17_nothing_that_looks_like_fhir_makes_the_service_fail(tmp_path):
    with Serving(tmp_path / "fuzz.sqlite3") as service:
        statuses, wrong = fuzzed(service, 2000, seed=7)
    assert wrong == []
    assert statuses[200] > 200
    assert statuses[422] > 100


@pytest.fixture
def documented(tmp_path):
    service, places = openapi.filled(tmp_path / "asked.sqlite3")
    with service:
        yield service, places


def test_the_comparison_with_the_document_bites(documented):
    service, places = documented
    answering = service.app

    async def broken(scope, receive, send):
        async def outgoing(message):
            if message["type"] == "http.response.start" and scope["path"] == "/live":
                message = {**message, "status": 500}
            if message["type"] == "http.response.start" and scope["path"] == "/ready":
                message = {**message, "status": 418}
            if message["type"] == "http.response.start" and scope["path"] == "/views":
                message = {**message, "headers": [(b"content-type", b"text/css")]}
            await send(message)

        await answering(scope, receive, outgoing)

    service.app = broken
    _, wrong = openapi.asked(service, places, 1, ["/live", "/ready", "/views", "/rules"])
    assert {name for name, _ in wrong} == {"GET /live", "GET /ready", "GET /views"}


def test_exm_17_every_operation_answers_as_documented(documented):
    statuses, wrong = openapi.asked(*documented, 3)
    assert wrong == {}
    assert statuses.total() > 250
    assert statuses[200] > 30


@pytest.mark.parametrize("member", ["laterality", "coding"])
def test_exm_17_a_side_that_cannot_be_read_is_told_in_words(documented, member):
    service, places = documented
    bundle = service.get(f"/exams/{places['exam_id']}/bundle").json()
    observations = [
        one
        for entry in bundle["entry"]
        if (one := entry["resource"])["resourceType"] == "Observation" and "valueQuantity" in one
    ]
    if member == "coding":
        del observations[-1]["code"]["coding"][0]["system"]
    else:
        for coding in observations[-1]["bodySite"]["extension"][0]["valueCodeableConcept"][
            "coding"
        ]:
            coding["code"] = "sinister"
    answer = service.post("/fhir/Bundle/$validate", bundle, Content_Type="application/fhir+json")
    assert answer.status_code == 200
    errors = [one for one in answer.json()["issue"] if one["severity"] == "error"]
    assert errors


def test_sec_15_the_document_says_that_tls_may_be_needed_and_nothing_of_bodies_that_are_not(
    documented,
):
    service, _ = documented
    paths = service.get("/openapi.json").json()["paths"]
    for operations in paths.values():
        for operation in operations.values():
            assert "426" in operation["responses"]
    assert "content" not in paths["/fhir/$export"]["get"]["responses"]["202"]
