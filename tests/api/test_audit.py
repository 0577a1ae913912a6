"""What the audit says about requests (matrix ERR-06)."""

from __future__ import annotations

import json

from tests.api.serving import example, raw_example

REASON = "Entered for the wrong person."


def written_down(service):
    """Action, outcome and request of every attempt so far."""
    return [
        (row.entry.action, row.entry.outcome, row.entry.request)
        for row in service.parts.store.audit()
    ]


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


def shown_in(answer):
    """The prompts in the body of an answer, by rule and version."""
    judged = answer.json()["assessment"]["judged"]
    return {f"{one['rule']}/{one['ruleVersion']}" for one in judged if one["kind"] == "prompt"}


def test_the_prompts_of_every_answer_are_logged_as_they_were_shown(service):
    draft = example("elbow-after-fracture") | {"status": "preliminary"}
    answers = [service.post("/exams", draft), service.post("/exams", draft)]
    path = f"/exams/{answers[0].json()['id']}"
    answers.append(service.post(f"{path}/close", b"", If_Match='W/"1"'))
    findings = [one for one in draft["findings"] if one.get("motion") != "extension"]
    changed = draft | {"status": "final", "findings": findings}
    correction = {"reason": "The angle was read wrongly.", "exam": changed}
    answers.append(service.put(path, correction, If_Match='W/"2"'))
    assert [answer.status_code for answer in answers] == [201, 200, 200, 200]
    rows = service.parts.store.audit()
    assert [(row.entry.action, row.entry.shown) for row in rows] == [
        ("create", ("elbow-extension/1.0",)),
        ("create", ("elbow-extension/1.0",)),
        ("close", ("elbow-extension/1.0",)),
        ("correct", ()),
    ]
    assert [set(row.entry.shown) for row in rows] == [shown_in(answer) for answer in answers]


def test_several_prompts_of_one_answer_are_all_logged(service):
    answer = service.post("/exams", raw_example("fall-on-the-arm"))
    (row,) = service.parts.store.audit()
    assert set(row.entry.shown) == shown_in(answer)
    assert len(row.entry.shown) == 3


def test_a_refused_exam_shows_no_prompt_in_the_log(service):
    service.post("/exams", raw_example("elbow-after-fracture"))
    other = example("elbow-after-fracture") | {"note": "Something else."}
    assert service.post("/exams", other).status_code == 409
    assert [row.entry.shown for row in service.parts.store.audit()] == [
        ("elbow-extension/1.0",),
        (),
    ]
