"""What the audit says about requests (matrix ERR-06)."""

from __future__ import annotations

import json

from tests.api.serving import example, raw_example

REASON = "Entered for the wrong person."


def written_down(service):
    """Action, outcome and request of every attempt so far."""
    return [(row.action, row.outcome.value, row.request) for row in service.parts.store.audit()]


def test_err_06_every_attempt_is_kept_with_the_id_of_its_request(service):
    exam_id = service.post("/exams", raw_example("draft"), X_Request_Id="t-1").json()["id"]
    path = f"/exams/{exam_id}"
    service.post(f"{path}/close", b"", If_Match='W/"1"', X_Request_Id="t-2")
    changed = example("draft") | {"status": "final", "note": "Once more."}
    body = {"reason": "A note was forgotten.", "exam": changed}
    service.put(path, body, If_Match='W/"2"', X_Request_Id="t-3")
    service.post(f"{path}/withdrawal", {"reason": REASON}, If_Match='W/"3"', X_Request_Id="t-4")
    assert written_down(service) == [
        ("create", "created", "t-1"),
        ("close", "created", "t-2"),
        ("correct", "created", "t-3"),
        ("withdraw", "created", "t-4"),
    ]


def test_err_06_repeats_and_conflicts_are_kept_too(service):
    other = json.dumps(example("draft") | {"note": "Something else."}).encode()
    for request, body in (("a", raw_example("draft")), ("b", raw_example("draft")), ("c", other)):
        service.post("/exams", body, X_Request_Id=request)
    assert written_down(service) == [
        ("create", "created", "a"),
        ("create", "same", "b"),
        ("create", "conflict", "c"),
    ]


def test_err_06_the_clients_own_id_stands_beside_ours(service):
    answer = service.post("/exams", raw_example("draft"), X_Request_Id="odd/id:1")
    ((_, _, request),) = written_down(service)
    assert request == f"{answer.headers['x-request-id']} odd/id:1"
