"""Transactions and batches: each entry needs what it would need alone (SEC-10)."""

from __future__ import annotations

import pytest
from tests.api.serving import FHIR_JSON, example
from tests.api.transactions import transaction

from brachium.api.access import EXAM

ALL = " ".join(f"system/{kind}.cru" for kind in EXAM)
LESS = " ".join(f"system/{kind}.cru" for kind in EXAM if kind != "Patient")

PATIENT = example("stiff-shoulder")["patient"]["identifier"]
CHAINED = f"patient.identifier={PATIENT['system']}|{PATIENT['value']}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("sender")


def posted(service, bundle, scope, client="app"):
    headers = {**service.as_client(client, scope), "Content-Type": FHIR_JSON}
    return service.ask("POST", "/fhir", json=bundle, headers=headers)


def count(service) -> int:
    held = service.as_client()
    return sum(service.ask("GET", f"/fhir/{kind}", headers=held).json()["total"] for kind in EXAM)


def test_sec_10_a_transaction_that_creates_a_patient_needs_that_scope(guarded, folder):
    bundle = transaction(folder)
    answer = posted(guarded, bundle, LESS)
    assert answer.status_code == 403
    assert answer.json()["issue"][0]["code"] == "forbidden"
    assert "system/Patient.c" in answer.json()["issue"][0]["details"]["text"]
    assert count(guarded) == 0
    assert posted(guarded, bundle, ALL).status_code == 200
    assert count(guarded) > 0


def test_sec_10_a_reader_posts_no_transaction(guarded, folder):
    answer = posted(guarded, transaction(folder), "system/Observation.rs", "reader")
    assert answer.status_code == 403
    named = answer.headers["www-authenticate"]
    assert all(f"system/{kind}.c" in named for kind in ("Patient", "Observation"))
    assert count(guarded) == 0


@pytest.mark.parametrize("entry", [None, 7, {}, {"resource": 1}, {"request": {"method": "POST"}}])
def test_sec_10_entries_that_cannot_be_read_store_nothing(guarded, entry):
    bundle = {"resourceType": "Bundle", "type": "transaction", "entry": [entry]}
    answer = posted(guarded, bundle, "system/Observation.rs", "reader")
    assert answer.status_code in (400, 422)
    assert count(guarded) == 0


@pytest.mark.usefixtures("stored")
def test_sec_10_a_batch_is_answered_entry_by_entry(guarded):
    urls = ("Observation", "Patient", "metadata", "_history", f"Observation?{CHAINED}")
    bundle = {
        "resourceType": "Bundle",
        "type": "batch",
        "entry": [{"request": {"method": "GET", "url": url}} for url in urls],
    }
    answer = posted(guarded, bundle, "system/Observation.rs", "reader")
    found = [entry["response"]["status"][:3] for entry in answer.json()["entry"]]
    assert found == ["200", "403", "200", "403", "403"]
    outcome = answer.json()["entry"][1]["response"]["outcome"]
    assert outcome["issue"][0]["code"] == "forbidden"
    whole = posted(guarded, bundle, "system/*.rs")
    assert {entry["response"]["status"][:3] for entry in whole.json()["entry"]} == {"200"}


@pytest.mark.usefixtures("stored")
def test_sec_07_a_chained_search_needs_both_types(guarded):
    path = f"/fhir/Observation?{CHAINED}"
    held = guarded.as_client("reader", "system/Observation.rs")
    answer = guarded.ask("GET", path, headers=held)
    assert answer.status_code == 403
    assert "system/Patient.s" in answer.text
    assert guarded.ask("GET", path, headers=guarded.as_client()).json()["total"] > 0


def test_sec_07_everything_about_a_patient_holds_only_what_may_be_read(guarded, stored):
    assert stored["id"]
    every = guarded.as_client()
    patients = guarded.ask("GET", "/fhir/Patient", headers=every).json()
    path = f"/fhir/Patient/{patients['entry'][0]['resource']['id']}/$everything"
    reader = guarded.as_client("reader", "system/Observation.rs")
    assert guarded.ask("GET", path, headers=reader).status_code == 403
    narrow = guarded.as_client(scope="system/Patient.r system/Observation.r")
    for held, kinds in ((narrow, {"Patient", "Observation"}), (every, None)):
        answer = guarded.ask("GET", path, headers=held)
        assert answer.status_code == 200
        found = {entry["resource"]["resourceType"] for entry in answer.json()["entry"]}
        assert found == kinds or (kinds is None and "DiagnosticReport" in found)


def test_sec_16_a_search_by_form_keeps_the_identifier_out_of_the_address(guarded, stored, caplog):
    assert stored["id"]
    with caplog.at_level("DEBUG"):
        answer = guarded.ask(
            "POST",
            "/fhir/Patient/_search",
            data={"identifier": f"{PATIENT['system']}|{PATIENT['value']}"},
            headers=guarded.as_client(scope="system/Patient.s"),
        )
    assert answer.json()["total"] == 1
    assert PATIENT["value"] not in caplog.text
    links = [link["url"] for link in answer.json()["link"]]
    assert not any(PATIENT["value"] in link for link in links)
