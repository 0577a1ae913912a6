"""Whose an export is, and which types the token covers."""

from __future__ import annotations

import pytest
from tests.api.serving import inside
from tests.bulk.jobs import Exports, types
from tests.bulk.test_kick_off import refused

from brachium.bulk.wanted import TYPES


@pytest.fixture
def reader(guarded):
    """A client that may see observations and nothing else."""
    return Exports(guarded, **guarded.as_client("reader", "system/Observation.rs"))


def test_blk_10_sec_11_a_file_needs_a_token_and_the_manifest_says_so(app, guarded):
    place = app.begun()
    app.carried_out()
    manifest = app.manifest(place)
    assert manifest["requiresAccessToken"] is True
    url = inside(manifest["output"][0]["url"])
    assert guarded.get(url).status_code == 401
    assert guarded.get(place).status_code == 401
    assert guarded.ask("DELETE", place).status_code == 401
    assert app.ask(url).status_code == 200


def test_sec_11_sec_17_another_client_finds_nothing(app, guarded):
    place = app.begun()
    app.carried_out()
    url = inside(app.manifest(place)["output"][0]["url"])
    other = Exports(guarded, **guarded.as_client("auditor", "system/*.rs"))
    for method, path in (("GET", place), ("GET", url), ("DELETE", place)):
        refused(other.ask(path, method), 404)
    assert app.ask(url).status_code == 200


def test_blk_21_a_type_beyond_the_token_is_refused(reader):
    answer = reader.ask("/fhir/$export?_type=Observation,Patient")
    refused(answer, 403)
    assert "system/Patient.rs" in answer.headers["www-authenticate"]
    parameter = {"name": "_type", "valueString": "Patient"}
    refused(reader.posted("/fhir/Patient/$export", parameter), 403)
    query = "_type=Observation&includeAssociatedData=RelevantProvenanceResources"
    refused(reader.ask(f"/fhir/$export?{query}"), 403)


def test_blk_21_without_type_only_what_the_token_covers_comes(reader, app):
    assert types(reader.exported()) == {"Observation"}
    assert types(app.exported()) == set(TYPES) - {"QuestionnaireResponse"}


def test_blk_21_a_token_that_covers_nothing_gets_no_export(guarded):
    headers = guarded.as_client("app", "system/Patient.c")
    refused(Exports(guarded, **headers).ask("/fhir/$export"), 403)
    # reading alone is not enough: an export is a search too
    headers = guarded.as_client("app", "system/Patient.r")
    refused(Exports(guarded, **headers).ask("/fhir/$export"), 403)


def test_blk_21_a_file_needs_the_scope_of_its_type_each_time(app, guarded):
    manifest = app.done("/fhir/$export?_type=Patient,Observation")
    narrow = Exports(guarded, **guarded.as_client("app", "system/Observation.rs"))
    for item in manifest["output"]:
        answer = narrow.ask(inside(item["url"]))
        assert answer.status_code == (200 if item["type"] == "Observation" else 403)


def test_blk_21_a_filter_leads_through_no_type_that_the_token_does_not_cover(reader):
    chain = "Observation%3Fpatient.identifier%3Dhttps://saltmarsh.example.org/fid/patient%7CP-0102"
    refused(reader.ask(f"/fhir/$export?_typeFilter={chain}"), 403)


def test_blk_06_the_jobs_of_one_client_do_not_stand_in_the_way_of_another(app, reader):
    for _ in range(app.bulk.most):
        app.begun()
    refused(app.ask("/fhir/$export"), 429)
    reader.begun()
