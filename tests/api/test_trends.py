"""Trends over HTTP: by the id of the Patient, and by an identifier that stays out of addresses."""

from __future__ import annotations

import logging
import random

import jsonschema
import pytest
from tests.api.serving import BASE, Serving, example, raw_example

NAMES = [f"recovering-shoulder-{number}" for number in range(1, 7)]
PERSON = example(NAMES[0])["patient"]["identifier"]
FLEXION = "joint=shoulder&motion=flexion&side=right"


def ask(service, query=""):
    return service.post(f"/patients/trend{query}", {"identifier": PERSON})


@pytest.fixture
def six(service):
    """The ids of the six exams, in the order of their time; they come in another order."""
    ids = {}
    for name in random.Random(7).sample(NAMES, 6):
        answer = service.post("/exams", raw_example(name))
        assert answer.status_code == 201, answer.text
        ids[name] = answer.json()["id"]
    return [ids[name] for name in NAMES]


def active(body):
    (found,) = [one for one in body["series"] if one.get("mode") == "active"]
    return found


def told(series, name="sincePrevious"):
    return [one[name]["verdict"] if name in one else None for one in series["points"]]


def test_both_ways_in_give_the_same_answer(service, six):
    by_identifier = ask(service)
    assert by_identifier.status_code == 200
    patient = by_identifier.json()["patient"]
    by_id = service.get(f"/patients/{patient}/trend")
    assert by_id.content == by_identifier.content
    assert service.get(f"/fhir/Patient/{patient}").status_code == 200
    assert [one["id"] for one in by_id.json()["exams"]] == six
    assert [one["link"] for one in by_id.json()["exams"]] == [f"{BASE}/exams/{one}" for one in six]


def test_the_recovering_shoulder_shows_its_trend(service, six):
    series = active(ask(service, f"?{FLEXION}").json())
    assert [one["value"] for one in series["points"]] == [92, 104, 121, 139, 154, 165]
    assert [one["exam"] for one in series["points"]] == six
    # 12 17 18 15 11 degrees, each more than the 10 of the shoulder by one examiner
    assert told(series) == [None, *["improved"] * 5]
    last = series["points"][-1]
    assert last["sinceFirst"]["delta"] == 73
    assert last["sincePrevious"]["detectable"] == 10
    assert last["sincePrevious"]["used"] == [
        {"exam": six[4], "finding": "shoulder-flexion-active-r", "value": "154 degrees"},
        {"exam": six[5], "finding": "shoulder-flexion-active-r", "value": "165 degrees"},
    ]
    assert (series["unit"], series["method"], series["position"]) == (
        "deg",
        "goniometer",
        "sitting",
    )


def test_cor_01_a_correction_counts_with_its_newest_content(service, six):
    corrected = example(NAMES[2])
    corrected["findings"][0]["angle"]["value"] = 111
    answer = service.put(
        f"/exams/{six[2]}", {"reason": "Read wrongly.", "exam": corrected}, If_Match='W/"1"'
    )
    assert answer.status_code == 200, answer.text
    body = ask(service, f"?{FLEXION}").json()
    series = active(body)
    assert [one["value"] for one in series["points"]] == [92, 104, 111, 139, 154, 165]
    # 104 to 111 is 7 degrees: within the error
    assert told(series)[2:4] == ["no-detectable-change", "improved"]
    assert (body["exams"][2]["status"], body["exams"][2]["version"]) == ("corrected", 2)


def test_cor_02_a_withdrawn_exam_is_left_out_and_listed(service, six):
    withdrawal = {"reason": "Wrong person."}
    answer = service.post(f"/exams/{six[3]}/withdrawal", withdrawal, If_Match='W/"1"')
    assert answer.status_code == 200, answer.text
    body = ask(service, f"?{FLEXION}").json()
    assert [one["value"] for one in active(body)["points"]] == [92, 104, 121, 154, 165]
    assert body["leftOut"] == [
        {
            "id": six[3],
            "version": 2,
            "status": "entered-in-error",
            "why": "withdrawn",
            "link": f"{BASE}/exams/{six[3]}",
        }
    ]
    assert six[3] not in [one["id"] for one in body["exams"]]


@pytest.mark.usefixtures("six")
def test_a_preliminary_exam_is_marked_until_it_is_closed(service):
    draft = {**example(NAMES[0]), "status": "preliminary", "effective": "2026-10-12T09:30:00+01:00"}
    draft["identifier"] = {**draft["identifier"], "value": "SQ-SERIES-7"}
    made = service.post("/exams", draft).json()
    body = ask(service, f"?{FLEXION}").json()
    assert [one["preliminary"] for one in body["exams"]] == [False] * 6 + [True]
    last = active(body)["points"][-1]["sincePrevious"]
    assert (last["verdict"], last["provisional"]) == ("worse", True)
    service.post(f"/exams/{made['id']}/close", {}, If_Match='W/"1"')
    body = ask(service, f"?{FLEXION}").json()
    assert not any(one["preliminary"] for one in body["exams"])
    assert active(body)["points"][-1]["sincePrevious"]["provisional"] is False


def test_another_method_is_not_compared(service, six):
    other = {**example(NAMES[0]), "effective": "2026-10-12T09:30:00+01:00"}
    other["identifier"] = {**other["identifier"], "value": "SQ-SERIES-8"}
    other["findings"][0]["method"] = "visual-estimate"
    assert service.post("/exams", other).status_code == 201
    body = ask(service, f"?{FLEXION}").json()
    (series,) = [one for one in body["series"] if one["method"] == "visual-estimate"]
    (point,) = series["points"]
    assert "sincePrevious" not in point
    assert point["otherwiseBefore"]["verdict"] == "not-comparable"
    assert point["otherwiseBefore"]["why"] == ["other-method"]
    assert point["otherwiseBefore"]["used"][0]["exam"] == six[5]


def test_nobody_else_is_in_the_trend(service, six):
    service.post("/exams", raw_example("stiff-shoulder"))
    assert [one["id"] for one in ask(service).json()["exams"]] == six


@pytest.mark.usefixtures("six")
@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("joint=knee", "joint"),
        ("joint=elbow&motion=abduction", "motion"),
        ("test=clapping", "test"),
        ("side=both", "side"),
        ("sides=left", "sides"),
        ("joint=elbow&joint=wrist", "joint"),
        ("joint=El%20bow", "joint"),
    ],
)
def test_a_wish_that_cannot_be_met_is_refused(service, query, parameter):
    patient = ask(service).json()["patient"]
    for answer in (service.get(f"/patients/{patient}/trend?{query}"), ask(service, f"?{query}")):
        assert answer.status_code == 400
        assert answer.json()["parameter"] == parameter


def test_who_is_not_stored_is_not_found(service):
    assert service.get("/patients/nobody/trend").status_code == 404
    assert ask(service).status_code == 404
    assert service.get("/patients/trend").status_code in (404, 405)


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        (b"{", 400, ""),
        (b'{"identifier":{},"identifier":{}}', 400, ""),
        (b"[]", 422, ""),
        (b"{}", 422, "/identifier"),
        (b'{"identifier":{"system":"https://x.example.org"}}', 422, "/identifier/value"),
        (b'{"identifier":{"system":"x","value":"SECRET-1"}}', 422, "/identifier/system"),
        (
            b'{"identifier":{"system":"https://x.example.org","value":"SECRET-1"},"name":"SECRET-2"}',
            422,
            "/name",
        ),
    ],
)
def test_err_a_body_that_names_nobody_says_why_and_repeats_nothing(service, body, status, pointer):
    answer = service.post("/patients/trend", body)
    assert answer.status_code == status
    assert answer.json()["problems"][0]["pointer"] == pointer
    assert b"SECRET" not in answer.content


@pytest.mark.usefixtures("six")
def test_other_forms_are_refused(service):
    patient = ask(service).json()["patient"]
    assert service.get(f"/patients/{patient}/trend", Accept="text/csv").status_code == 406
    raw = service.ask("POST", "/patients/trend", content=b"x", headers={"Content-Type": "text/csv"})
    assert raw.status_code == 415


@pytest.mark.usefixtures("six")
def test_no_identifier_reaches_the_log(service, caplog):
    with caplog.at_level(logging.DEBUG, logger="brachium"):
        patient = ask(service).json()["patient"]
        service.get(f"/patients/{patient}/trend")
    assert caplog.records
    for word in (PERSON["value"], PERSON["system"], patient):
        assert word not in caplog.text


def test_exm_17_the_answer_is_as_the_document_says(service, six):
    draft = {**example(NAMES[0]), "status": "preliminary", "effective": "2026-10-12T09:30:00+01:00"}
    draft["identifier"] = {**draft["identifier"], "value": "SQ-SERIES-9"}
    draft["findings"][0]["method"] = "visual-estimate"
    draft["findings"][1] = {
        **{k: v for k, v in draft["findings"][1].items() if k != "angle"},
        "absent": {"reason": "not-tested", "because": "pain"},
    }
    assert service.post("/exams", draft).status_code == 201
    withdrawal = {"reason": "Wrong person."}
    service.post(f"/exams/{six[3]}/withdrawal", withdrawal, If_Match='W/"1"')
    document = service.get("/openapi.json").json()
    operation = document["paths"]["/patients/trend"]["post"]
    schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
    whole = {**schema, "components": document["components"]}
    body = ask(service).json()
    jsonschema.validate(body, whole, jsonschema.Draft202012Validator)
    assert body["leftOut"]
    assert any(one["gaps"] for one in body["series"])
    assert any("otherwiseBefore" in one["points"][0] for one in body["series"] if one["points"])
    content = operation["requestBody"]["content"]["application/json"]
    sample = content["examples"]["example"]["value"]
    assert service.post("/patients/trend", sample).status_code == 200


def test_the_order_of_posting_never_matters(tmp_path):
    answers = set()
    for seed in (1, 2):
        with Serving(tmp_path / f"{seed}.sqlite3") as service:
            for name in random.Random(seed).sample(NAMES, 6):
                service.post("/exams", raw_example(name))
            answers.add(ask(service).content)
    assert len(answers) == 1
