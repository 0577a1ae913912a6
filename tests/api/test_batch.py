"""Batches: every entry by itself (matrix TXN-08)."""

from __future__ import annotations

import pytest
from tests.api.serving import BASE
from tests.api.transactions import issues, post, refusal


def batch(*entries):
    return {"resourceType": "Bundle", "type": "batch", "entry": list(entries)}


def asked(url, method="GET", **more):
    return {"request": {"method": method, "url": url, **more}}


def answered(service, *entries, **headers):
    answer = post(service, batch(*entries), **headers)
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert (body["resourceType"], body["type"]) == ("Bundle", "batch-response")
    assert len(body["entry"]) == len(entries)
    return body["entry"]


@pytest.fixture
def patient(service, stored):
    assert stored
    return service.get("/fhir/Patient").json()["entry"][0]["resource"]


def test_txn_08_entries_are_independent(service, patient):
    path = f"Patient/{patient['id']}"
    read, none, search, refused, deleted, broken, nothing = answered(
        service,
        asked(path),
        asked("Patient/nope"),
        asked("DiagnosticReport?_count=1"),
        {**asked("Observation", "POST"), "resource": {"resourceType": "Observation"}},
        asked(path, "DELETE"),
        {},
        asked("", "POST"),
    )
    assert read["resource"] == patient
    assert read["response"]["status"] == "200 OK"
    assert read["response"]["etag"] == 'W/"1"'
    assert read["response"]["lastModified"][:19] == patient["meta"]["lastUpdated"][:19]
    assert none["response"]["status"] == "404 Not Found"
    assert search["resource"]["type"] == "searchset"
    assert search["resource"]["total"] == 1
    for entry, status in ((refused, "405"), (deleted, "405"), (broken, "400"), (nothing, "400")):
        assert entry["response"]["status"].startswith(status)
        assert entry["response"]["outcome"]["issue"][0]["severity"] == "error"
    assert broken["response"]["outcome"]["issue"][0]["expression"] == ["Bundle.entry[5].request"]


def test_txn_08_conditions_are_those_of_the_entry(service, patient):
    path = f"Patient/{patient['id']}"
    (held, changed) = answered(
        service, asked(path, ifNoneMatch='W/"1"'), asked(path, ifNoneMatch='W/"2"')
    )
    assert held["response"].pop("lastModified")
    assert held == {"response": {"status": "304 Not Modified", "etag": 'W/"1"'}}
    assert changed["response"]["status"] == "200 OK"


def test_txn_08_searches_with_escaped_criteria(service, patient):
    by = patient["identifier"][0]
    url = f"Patient?identifier={by['system']}%7C{by['value']}"
    (found,) = answered(service, asked(url))
    assert [e["resource"]["id"] for e in found["resource"]["entry"]] == [patient["id"]]
    assert found["resource"]["link"][0]["url"].startswith(f"{BASE}/fhir/Patient?")


@pytest.mark.parametrize(
    "entry",
    [
        7,
        None,
        {"request": 7},
        asked("../exams"),
        asked("/exams"),
        asked("exams"),
        asked("https://elsewhere.example.org/Patient"),
        asked("Patient#x"),
        asked("Patient", "TRACE"),
        asked("Patient", 7),
        asked("metadata", unknown="x"),
        {**asked("QuestionnaireResponse", "POST"), "resource": 7},
        {**asked("metadata"), "search": {}},
    ],
)
def test_txn_08_what_is_no_request_of_fhir_is_refused_inside(service, entry):
    good, bad = answered(service, asked("metadata"), entry)
    assert good["response"]["status"] == "200 OK"
    assert bad["response"]["status"] == "400 Bad Request"
    (issue,) = bad["response"]["outcome"]["issue"]
    assert issue["expression"][0].startswith("Bundle.entry[1]")


def test_txn_08_numbers_of_any_length_do_no_harm(service):
    for number in (10**18, 10**19, 10**40, -(10**40)):
        resource = {"resourceType": "QuestionnaireResponse", "item": number}
        (entry,) = answered(
            service, {**asked("QuestionnaireResponse", "POST"), "resource": resource}
        )
        assert entry["response"]["status"].startswith("422")


@pytest.mark.parametrize("number", ["1e999999999", "-1e-999999999", "1e99999999999", "1E400"])
def test_txn_08_numbers_with_an_exponent_are_never_written_out(service, number):
    form = f'{{"resourceType":"QuestionnaireResponse","item":{number}}}'
    entry = f'{{"request":{{"method":"POST","url":"QuestionnaireResponse"}},"resource":{form}}}'
    batch = f'{{"resourceType":"Bundle","type":"batch","entry":[{entry}]}}'
    headers = {"Content-Type": "application/fhir+json"}
    for path in ("/fhir", "/fhir/QuestionnaireResponse", "/fhir/QuestionnaireResponse/$validate"):
        body = batch if path == "/fhir" else form
        answer = service.ask("POST", path, content=body.encode(), headers=headers)
        assert answer.status_code in (200, 400, 422), path
        assert len(answer.content) < 10_000
    observation = f'{{"resourceType":"Observation","valueQuantity":{{"value":{number}}}}}'
    where = "/fhir/Observation/$validate"
    answer = service.ask("POST", where, content=observation.encode(), headers=headers)
    assert answer.status_code in (200, 400)
    assert len(answer.content) < 20_000


@pytest.mark.parametrize("url", ["Patient/%00", "Patient/a%2Fb", "Patient?x=%ff", "Patient/ä?ö=ü"])
def test_txn_08_odd_addresses_do_no_harm(service, url):
    (entry,) = answered(service, asked(url))
    assert entry["response"]["status"][0] in "24"


def test_a_batch_without_entries_is_refused(service):
    for entries in (None, [], {}):
        body = {"resourceType": "Bundle", "type": "batch", "entry": entries}
        assert refusal(post(service, body), 400, "bundle-unfit") == ["Bundle.entry"]


def test_a_batch_cannot_hold_a_batch(service):
    (entry,) = answered(service, {**asked("Bundle", "POST"), "resource": batch()})
    assert entry["response"]["status"].startswith("4")


def test_only_known_parameters(service):
    answer = service.post("/fhir?x=1", batch(), Content_Type="application/fhir+json")
    assert answer.status_code == 400
    assert issues(answer)[0]["expression"] == ["http.x"]
