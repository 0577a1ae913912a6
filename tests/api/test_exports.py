"""Bundles and codings of stored exams over HTTP (matrix BND, TRM-06)."""

from __future__ import annotations

import base64
import csv
import hashlib
import io

import pytest
from tests.api.serving import BASE, FHIR_JSON, example


def test_bnd_05_the_digest_is_of_the_body_and_the_body_is_the_same_again(service, stored):
    path = f"/exams/{stored['id']}/bundle?type=collection&version=1"
    first, second = service.get(path), service.get(path)
    assert first.content == second.content
    digest = base64.b64encode(hashlib.sha256(first.content).digest()).decode()
    assert first.headers["content-digest"] == f"sha-256=:{digest}:"
    assert first.headers["content-type"] == FHIR_JSON


@pytest.mark.parametrize("kind", ["collection", "transaction", "document"])
def test_every_kind_of_bundle(service, stored, kind):
    bundle = service.get(f"/exams/{stored['id']}/bundle?type={kind}").json()
    assert (bundle["resourceType"], bundle["type"]) == ("Bundle", kind)


def test_bnd_04_full_urls_are_public(service, stored):
    bundle = service.get(f"/exams/{stored['id']}/bundle").json()
    for entry in bundle["entry"]:
        resource = entry["resource"]
        assert entry["fullUrl"] == f"{BASE}/fhir/{resource['resourceType']}/{resource['id']}"


@pytest.mark.parametrize("way", ["literal", "conditional", "identifier", "entry"])
def test_txn_10_the_patient_is_referenced_as_asked(service, stored, way):
    path = f"/exams/{stored['id']}/bundle?type=transaction&patient-ref={way}"
    entries = service.get(path).json()["entry"]
    kinds = {one["resource"]["resourceType"] for one in entries}
    assert ("Patient" in kinds) is (way == "entry")


def test_trm_05_snomed_can_be_left_out(service, stored):
    path = f"/exams/{stored['id']}/bundle"
    assert b"snomed.info" in service.get(path).content
    assert b'"http://snomed.info/sct"' not in service.get(f"{path}?snomed=off").content


def test_not_tested_as_final_on_request(service):
    answer = service.post("/exams", example("parts-not-tested"))
    path = f"/exams/{answer.json()['id']}/bundle"
    assert b'"status":"cancelled"' in service.get(path).content
    assert b'"status":"cancelled"' not in service.get(f"{path}?not-tested=final").content


@pytest.mark.parametrize(
    "query",
    [
        "type=batch",
        "version=0",
        "version=x",
        "side=left",
        "snomed=no",
        "patient_ref=entry",
        "tpye=x",
        "version=1&version=2",
        "patient-ref=literal&type=collection",
    ],
)
def test_a_parameter_that_cannot_be_honoured_is_refused(service, stored, query):
    answer = service.get(f"/exams/{stored['id']}/bundle?{query}")
    assert answer.status_code == 400
    assert answer.json()["parameter"] == query.partition("=")[0]


@pytest.mark.parametrize("path", ["", "/versions", "/codings?format=csv&format=json"])
def test_no_operation_takes_one_of_two_answers_to_a_question(service, stored, path):
    repeated = path if "?" in path else f"{path}?version=1&version=1"
    answer = service.get(f"/exams/{stored['id']}{repeated}")
    assert answer.status_code == 400


def test_bundles_are_not_served_as_xml(service, stored):
    answer = service.get(f"/exams/{stored['id']}/bundle", Accept="application/fhir+xml")
    assert answer.status_code == 406


def test_trm_06_codings_as_json_and_csv(service, stored):
    path = f"/exams/{stored['id']}/codings"
    rows = service.get(path).json()
    assert len(rows) > 100
    table = service.get(path, Accept="text/csv")
    assert table.headers["content-type"].startswith("text/csv")
    assert list(csv.DictReader(io.StringIO(table.text, newline=""))) == rows
    assert service.get(f"{path}?format=csv", Accept="application/json").content == table.content
    assert service.get(path, Accept="image/png").status_code == 406


@pytest.mark.parametrize("path", ["", "/versions", "/bundle", "/codings"])
def test_what_is_not_there_is_404_and_an_odd_id_400(service, path):
    assert service.get(f"/exams/nope{path}").status_code == 404
    assert service.get(f"/exams/%00{path}").status_code == 400
