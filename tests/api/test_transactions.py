"""Exams as FHIR transactions (matrix TXN)."""

from __future__ import annotations

import copy
import json
import random
import re

import pytest
from tests.api.serving import BASE, FHIR_JSON, Serving, example, inside, raw_example
from tests.api.transactions import (
    held,
    index_of,
    issues,
    post,
    refusal,
    resource,
    statuses,
    transaction,
)

from brachium.formats.incoming import MOST_ENTRIES


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("sender")


@pytest.fixture
def bundle(folder):
    return transaction(folder)


@pytest.fixture
def here(tmp_path):
    with Serving(tmp_path / "receiver.sqlite3") as service:
        yield service


def test_txn_01_a_transaction_is_answered_entry_by_entry(here, bundle):
    answer = post(here, bundle)
    assert answer.headers["content-type"] == FHIR_JSON
    body = answer.json()
    assert (body["resourceType"], body["type"]) == ("Bundle", "transaction-response")
    assert len(body["entry"]) == len(bundle["entry"])
    for entry, sent in zip(body["entry"], bundle["entry"], strict=True):
        response, kind = entry["response"], sent["resource"]["resourceType"]
        assert response["status"].startswith("201")
        where = rf"{re.escape(BASE)}/fhir/{kind}/[A-Za-z0-9.-]+/_history/1"
        assert re.fullmatch(where, response["location"])
        assert response["etag"] == 'W/"1"'
        read = here.get(inside(response["location"])).json()
        assert read["meta"]["lastUpdated"] == response["lastModified"]
        assert read.get("identifier") == sent["resource"].get("identifier")


@pytest.mark.parametrize("name", ["stiff-hand", "ulnar-weakness", "draft", "parts-not-tested"])
def test_exm_01_a_transaction_becomes_the_exam_it_was_made_of(here, folder, name):
    assert set(statuses(post(here, transaction(folder, name)))) == {"201 Created"}
    answer = here.post("/exams", raw_example(name))
    assert answer.status_code == 200, "the same exam as JSON must be the same exam"


@pytest.mark.parametrize("policy", ["literal", "conditional", "identifier", "entry"])
def test_txn_10_every_way_of_pointing_at_the_patient_comes_back(here, folder, policy):
    bundle = transaction(folder, query=f"&patient-ref={policy}")
    other = example("recovering-shoulder-1")
    other["identifier"]["value"] = "KNOWN-BEFORE"
    assert here.post("/exams", other).status_code == 201
    own = {"201 Created"} if policy != "entry" else {"201 Created", "200 OK"}
    assert set(statuses(post(here, bundle))) == own
    assert here.post("/exams", raw_example("recovering-shoulder-1")).status_code == 200


def test_txn_02_a_failed_transaction_stores_nothing_and_names_the_entry(here, bundle):
    bundle["entry"][5]["resource"]["status"] = "registered"
    (place,) = refusal(post(here, bundle), 422, "not-kept")
    assert place == "Bundle.entry[5].resource.status"
    assert set(held(here).values()) == {0}


def test_txn_02_a_rule_of_the_exam_names_the_entry(here, folder):
    bundle = transaction(folder, "stiff-shoulder")
    motions = [
        e for e in bundle["entry"] if e["resource"].get("valueQuantity", {}).get("code") == "deg"
    ]
    index = bundle["entry"].index(motions[0])
    motions[0]["resource"]["valueQuantity"]["value"] = 400
    answer = post(here, bundle)
    assert answer.status_code == 422
    places = [issue["expression"][0] for issue in issues(answer) if issue["severity"] == "error"]
    assert f"Bundle.entry[{index}].resource" in places
    assert all(place.startswith("Bundle.entry[") for place in places)
    assert set(held(here).values()) == {0}


def test_txn_03_references_to_entries_are_rewritten(here, bundle):
    answer = post(here, bundle)
    names = set()
    for entry in answer.json()["entry"]:
        text = here.get(inside(entry["response"]["location"])).text
        assert "urn:uuid" not in text
        names |= set(re.findall(r'"reference":"([^"]+)"', text))
    assert len(names) > 20
    for name in names:
        assert here.get(f"/fhir/{name}").status_code == 200, name


def test_txn_03_any_full_urls_will_do(here, bundle):
    text = json.dumps(bundle)
    for index, entry in enumerate(bundle["entry"]):
        new = f"https://sender.example.org/fhir/{entry['resource']['resourceType']}/{index}"
        text = text.replace(f'"{entry["fullUrl"]}"', f'"{new}"')
    assert set(statuses(post(here, json.loads(text)))) == {"201 Created"}
    assert here.post("/exams", raw_example("recovering-shoulder-1")).status_code == 200


def graph(service: Serving) -> str:
    receipt = service.post("/exams", raw_example("recovering-shoulder-1"))
    assert receipt.status_code == 200
    text = service.get(f"/exams/{receipt.json()['id']}/bundle").text
    return re.sub(r"\d{4}-\d\d-\d\dT[\d:.]+Z", "TIME", text)


def test_txn_04_the_order_of_entries_does_not_matter(tmp_path, bundle):
    graphs = set()
    for seed in range(5):
        entries = list(bundle["entry"])
        random.Random(seed).shuffle(entries)
        with Serving(tmp_path / f"{seed}.sqlite3") as service:
            answer = post(service, {**bundle, "entry": entries})
            kinds = [re.search(r"/fhir/(\w+)/", e["fullUrl"])[1] for e in answer.json()["entry"]]
            assert kinds == [entry["resource"]["resourceType"] for entry in entries]
            graphs.add(graph(service))
    assert len(graphs) == 1


def test_txn_05_a_repeat_changes_nothing(here, bundle):
    first = post(here, bundle)
    before = held(here)
    again = post(here, bundle)
    assert set(statuses(again)) == {"200 OK"}
    assert held(here) == before
    locations = [[e["response"]["location"] for e in a.json()["entry"]] for a in (first, again)]
    assert locations[0] == locations[1]


def test_txn_05_if_none_exist_keeps_the_patient_as_stored(here, bundle):
    post(here, bundle)
    text = json.dumps(bundle).replace(
        resource(bundle, "DiagnosticReport")["identifier"][0]["value"], "N-1"
    )
    other = json.loads(text)
    other["entry"] = [e for e in other["entry"] if e["resource"]["resourceType"] != "Provenance"]
    resource(other, "Patient")["birthDate"] = "1950-01-01"
    places = refusal(post(here, other), 409, "party-differs")
    assert places == [f"Bundle.entry[{index_of(other, 'Patient')}].resource.birthDate"]
    assert here.get("/fhir/DiagnosticReport?_count=0").json()["total"] == 1


def test_txn_06_the_same_identity_twice_is_refused(here, bundle):
    for change in ("ifNoneExist", "PUT"):
        twice = copy.deepcopy(bundle)
        entry = copy.deepcopy(twice["entry"][6])
        entry["fullUrl"] = "urn:uuid:7d1b7a3e-0000-4000-8000-000000000000"
        if change == "PUT":
            for one in (entry, twice["entry"][6]):
                condition = one["request"].pop("ifNoneExist")
                one["request"] = {"method": "PUT", "url": f"Observation?{condition}"}
        twice["entry"].append(entry)
        places = refusal(post(here, twice), 400, "identity-twice")
        assert places == [f"Bundle.entry[{len(twice['entry']) - 1}].resource"]
    assert set(held(here).values()) == {0}


def conditional(folder, value):
    bundle = transaction(folder, query="&patient-ref=conditional")
    text = json.dumps(bundle)
    return json.loads(re.sub(r'"Patient\?identifier=[^"]+"', f'"Patient?identifier={value}"', text))


def test_txn_07_conditional_references_need_exactly_one_match(here, folder):
    for number, patient in enumerate(("P-A", "P-B")):
        other = example("recovering-shoulder-1")
        other["identifier"]["value"] = f"KNOWN-{number}"
        other["patient"]["identifier"]["value"] = patient
        assert here.post("/exams", other).status_code == 201
    system = example("recovering-shoulder-1")["patient"]["identifier"]["system"]
    before = held(here)
    bundle = conditional(folder, f"{system}|P-C")
    unknown = post(here, bundle)
    assert set(refusal(unknown, 422, "reference-unresolved")) >= {
        f"Bundle.entry[{index_of(bundle, 'Observation')}].resource.subject.reference"
    }
    assert {issue["code"] for issue in issues(unknown)} == {"not-found"}
    several = post(here, conditional(folder, f"{system}|P-A,{system}|P-B"))
    assert "multiple-matches" in {issue["code"] for issue in issues(several)}
    assert held(here) == before


def test_txn_07_a_condition_of_another_kind_matches_nothing(here, folder):
    other = example("recovering-shoulder-1")
    other["identifier"]["value"] = "KNOWN"
    here.post("/exams", other)
    bundle = conditional(folder, "x")
    text = json.dumps(bundle).replace("Patient?identifier=x", "Patient?")
    for query in ("Patient?", "Patient?name=x", "Patient?identifier=", "Patient?identifier=a%7C"):
        answer = post(here, json.loads(text.replace('"Patient?"', f'"{query}"')))
        assert refusal(answer, 422, "reference-unresolved")


def test_txn_08_txn_11_too_many_entries_are_413(here):
    for kind in ("transaction", "batch"):
        long = {"resourceType": "Bundle", "type": kind, "entry": [{}] * (MOST_ENTRIES + 1)}
        answer = post(here, long)
        assert answer.status_code == 413
        assert [issue["code"] for issue in issues(answer)] == ["too-costly"]
        assert str(MOST_ENTRIES) in answer.text


def test_txn_11_the_limit_lies_above_the_largest_exam(here):
    finding = example("recovering-shoulder-1")["findings"][0]
    most = here.get("/schema/exam").json()["properties"]["findings"]["maxItems"]
    assert finding
    assert most * 3 <= MOST_ENTRIES


def test_exm_04_the_same_identifier_with_other_content_is_a_conflict(here, bundle):
    changed = example("recovering-shoulder-1")
    changed["note"] = "Seen with an interpreter."
    assert here.post("/exams", changed).status_code == 201
    before = held(here)
    (place,) = refusal(post(here, bundle), 409, "identifier-taken")
    assert place == f"Bundle.entry[{index_of(bundle, 'DiagnosticReport')}].resource"
    assert held(here) == before


@pytest.mark.parametrize("asked", ["minimal", "representation", "OperationOutcome"])
def test_neg_10_prefer_on_a_transaction(here, bundle, asked):
    answer = post(here, bundle, Prefer=f"return={asked}")
    assert answer.headers["preference-applied"] == f"return={asked}"
    for entry in answer.json()["entry"]:
        assert ("resource" in entry) == (asked == "representation")
        if asked == "OperationOutcome":
            assert entry["response"]["outcome"]["resourceType"] == "OperationOutcome"
        if asked == "representation":
            path = inside(entry["response"]["location"])
            assert here.get(path).json() == entry["resource"]


@pytest.mark.parametrize("kind", ["collection", "document", "searchset", "message", None, 7])
def test_a_bundle_that_asks_for_nothing_is_refused_with_the_reason(here, bundle, kind):
    places = refusal(post(here, {**bundle, "type": kind}), 422, "bundle-unfit")
    assert places == ["Bundle.type"]


def test_what_is_no_bundle_is_told_where_findings_go(here):
    answer = post(here, {"resourceType": "Observation", "status": "final"})
    assert refusal(answer, 422, "bundle-unfit") == ["Bundle.resourceType"]
    assert "/exams" in answer.text


def test_err_03_what_is_no_json_is_400(here):
    for body in (b"", b"[]", b"{", b'{"a":1,"a":2}', b"\xff", b"[" * 3000):
        answer = here.post("/fhir", body, Content_Type=FHIR_JSON)
        assert answer.status_code == 400
        assert issues(answer)[0]["code"] == "structure"


def test_neg_04_other_media_types_are_415(here, bundle):
    for kind in ("application/fhir+xml", "text/plain", "application/fhir+json; charset=latin-1"):
        assert here.post("/fhir", bundle, Content_Type=kind).status_code == 415
    for kind in ("application/json", "application/fhir+json; fhirVersion=4.0; charset=utf-8"):
        assert here.post("/fhir", bundle, Content_Type=kind).status_code == 200
