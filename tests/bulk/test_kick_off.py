"""Beginning an export: what is taken, refused, and with lenience left out."""

from __future__ import annotations

import json

import pytest
from tests.api.serving import BASE
from tests.bulk.jobs import LENIENT, named, stored, types

from brachium.api.served import SERVED
from brachium.bulk.wanted import TYPES

LEVELS = ("/fhir/$export", "/fhir/Patient/$export")


def group_of(clinic) -> str:
    return clinic.get("/fhir/Group").json()["entry"][0]["resource"]["id"]


def refused(answer, status: int = 400, parameter: str | None = None) -> str:
    assert answer.status_code == status, answer.text
    outcome = answer.json()
    assert outcome["resourceType"] == "OperationOutcome"
    if parameter:
        assert outcome["issue"][0]["expression"] == [f"http.{parameter}"]
    return outcome["issue"][0]["diagnostics"]


def test_every_stored_type_is_exported():
    assert set(TYPES) == {k for k, one in SERVED.items() if one.versioned and one.is_record}


def test_blk_01_every_level_is_accepted_with_an_absolute_https_address(exports, clinic):
    for path in (*LEVELS, f"/fhir/Group/{group_of(clinic)}/$export"):
        answer = exports.ask(path, headers={"Accept": "application/fhir+json"})
        assert answer.status_code == 202
        place = answer.headers["content-location"]
        assert place.startswith(f"{BASE}/fhir/")
        assert place.startswith("https://")


def test_blk_02_without_prefer_and_accept_it_is_asynchronous_json(clinic):
    for path in LEVELS:
        assert clinic.ask("GET", path, headers={"Accept": ""}).status_code == 202


@pytest.mark.parametrize("value", ["application/fhir%2Bndjson", "application/ndjson", "ndjson"])
def test_blk_03_three_names_of_the_format_are_taken(exports, value):
    exports.begun(f"/fhir/$export?_outputFormat={value}")


@pytest.mark.parametrize("value", ["parquet", "application/json", "", "ndjson,ndjson"])
def test_blk_03_every_other_format_is_refused(exports, value):
    answer = exports.ask(f"/fhir/$export?_outputFormat={value}")
    assert "ndjson" in refused(answer, 400, "_outputFormat")


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ("_typeFilter=Observation%3Fcolour%3Dred", "_typeFilter"),
        ("_typeFilter=Observation%3Fstatus:below%3Dfinal", "_typeFilter"),
        ("_typeFilter=Observation%3F_sort%3Ddate", "_typeFilter"),
        ("_typeFilter=Observation%3Fdate%3Dyesterday", "_typeFilter"),
        ("_typeFilter=status%3Dfinal", "_typeFilter"),
        ("_typeFilter=Condition%3Fcode%3D1", "_typeFilter"),
        ("_type=Patient&_typeFilter=Observation%3Fstatus%3Dfinal", "_typeFilter"),
        ("_type=Patient,Condition", "_type"),
        ("_type=", "_type"),
        ("_elements=Observation.code.coding", "_elements"),
        ("_elements=Condition.code", "_elements"),
        ("_since=yesterday", "_since"),
        ("_since=2026-13-01T00:00:00Z", "_since"),
        ("_since=0001-01-01T00:00:00%2B14:00", "_since"),
        ("_since=2026-01-01T00:00:00Z&_since=2026-01-01T00:00:00Z", "_since"),
        ("includeAssociatedData=Everything", "includeAssociatedData"),
        ("patient=Patient/1", "patient"),
        ("organizeOutputBy=Patient", "organizeOutputBy"),
    ],
)
def test_blk_04_what_is_not_served_is_refused(exports, query, parameter):
    refused(exports.ask(f"/fhir/$export?{query}"), 400, parameter)


def test_blk_04_lenience_leaves_out_what_is_not_served_and_tells(exports):
    query = (
        "_type=Observation,Condition&organizeOutputBy=Patient&includeAssociatedData=Everything"
        "&_typeFilter=Observation%3Fcolour%3Dred"
    )
    manifest = exports.done(f"/fhir/$export?{query}", headers={"Prefer": LENIENT})
    told = exports.lines(manifest, "error")
    assert [one["resourceType"] for one in told] == ["OperationOutcome"] * 4
    texts = [one["issue"][0]["details"]["text"] for one in told]
    for name in ("_type", "organizeOutputBy", "includeAssociatedData", "_typeFilter"):
        assert sum(f"parameter {name} " in text for text in texts) == 1, name
    assert all(one["issue"][0]["severity"] == "warning" for one in told)
    assert types(exports.lines(manifest)) == {"Observation"}


@pytest.mark.parametrize("query", ["_since=yesterday", "_type=Condition", "_outputFormat=csv"])
def test_blk_04_lenience_has_its_limits(exports, query):
    refused(exports.ask(f"/fhir/$export?{query}", headers={"Prefer": LENIENT}))


def test_blk_04_types_that_are_served_and_not_stored_are_told_and_the_others_come(exports):
    manifest = exports.done("/fhir/$export?_type=Device,Patient")
    (told,) = exports.lines(manifest, "error")
    assert "Device" in told["issue"][0]["details"]["text"]
    assert types(exports.lines(manifest)) == {"Patient"}
    manifest = exports.done("/fhir/$export?_type=Questionnaire")
    assert (manifest["output"], len(exports.lines(manifest, "error"))) == ([], 1)


def test_blk_04_a_type_filter_means_what_a_search_means(exports, clinic):
    query = "status=preliminary"
    found = clinic.get(f"/fhir/Observation?{query}&_count=500").json()["entry"]
    ids = {one["resource"]["id"] for one in found}
    lines = exports.exported(f"/fhir/$export?_type=Observation&_typeFilter=Observation%3F{query}")
    assert {one["id"] for one in lines} == ids
    assert 0 < len(ids) < len([key for key in stored(clinic) if key[0] == "Observation"])


def test_blk_04_filters_of_a_type_are_alternatives_and_give_each_resource_once(exports, clinic):
    told = {"final", "preliminary"}
    every = {
        key
        for key, one in stored(clinic).items()
        if key[0] == "Observation" and one["status"] in told
    }
    final = "Observation%3Fstatus%3Dfinal"
    # the comma of the second one stands within it
    other = "Observation%3Fstatus%3Dpreliminary%252Cfinal"
    for filters in (f"{final},{other}", f"{final}&_typeFilter={other}"):
        path = f"/fhir/$export?_type=Observation,Patient&_typeFilter={filters}"
        found = named(exports.exported(path))
        assert {key for key in found if key[0] == "Observation"} == every
        assert len({one["status"] for one in found.values() if "status" in one}) == 2
        assert {key for key in found if key[0] == "Patient"}


def test_blk_04_a_filter_may_lead_through_the_patient(exports, clinic):
    patients = [one for key, one in stored(clinic).items() if key[0] == "Patient"]
    by = patients[0]["identifier"][0]
    chain = f"Observation%3Fpatient.identifier%3D{by['system']}%7C{by['value']}"
    found = exports.exported(f"/fhir/$export?_type=Observation&_typeFilter={chain}")
    assert {one["subject"]["reference"] for one in found} == {f"Patient/{patients[0]['id']}"}


def test_blk_04_elements_keep_what_is_mandatory_and_say_so(exports):
    found = exports.exported(
        "/fhir/$export?_type=Observation,Patient&_elements=Observation.subject"
    )
    for one in found:
        if one["resourceType"] == "Patient":
            assert "identifier" in one
            continue
        assert set(one) == {"resourceType", "id", "meta", "status", "code", "subject"}
        assert [tag["code"] for tag in one["meta"]["tag"]] == ["SUBSETTED"]


def test_blk_20_a_posted_request_gives_the_same(exports):
    since = {"name": "_since", "valueInstant": "2020-01-01T00:00:00Z"}
    answer = exports.posted(
        "/fhir/Patient/$export", {"name": "_type", "valueString": "Observation"}, since
    )
    assert answer.status_code == 202
    place = answer.headers["content-location"].removeprefix(BASE)
    exports.carried_out()
    manifest = exports.manifest(place)
    assert manifest["request"] == f"{BASE}/fhir/Patient/$export"
    path = "/fhir/Patient/$export?_type=Observation&_since=2020-01-01T00:00:00Z"
    assert named(exports.lines(manifest)) == named(exports.exported(path))


@pytest.mark.parametrize(
    "body",
    [
        {"resourceType": "Patient"},
        {"resourceType": "Parameters", "parameter": {}},
        {"resourceType": "Parameters", "parameter": [{"valueString": "x"}]},
        {"resourceType": "Parameters", "parameter": [{"name": "_type"}]},
        {"resourceType": "Parameters", "parameter": [{"name": "_type", "valueInteger": 1}]},
    ],
)
def test_blk_20_a_body_that_is_no_parameters_is_refused(exports, body):
    content = json.dumps(body).encode()
    headers = {"Content-Type": "application/fhir+json"}
    refused(exports.ask("/fhir/$export", "POST", content=content, headers=headers))


def test_blk_04_patients_are_named_in_the_body_only(exports, clinic):
    patients = [one["id"] for key, one in stored(clinic).items() if key[0] == "Patient"]
    wanted = [
        {"name": "patient", "valueReference": {"reference": f"Patient/{one}"}}
        for one in patients[:2]
    ]
    answer = exports.posted("/fhir/Patient/$export", *wanted)
    exports.carried_out()
    found = exports.lines(exports.manifest(answer.headers["content-location"].removeprefix(BASE)))
    subjects = {one["subject"]["reference"] for one in found if "subject" in one}
    assert subjects == {f"Patient/{one}" for one in patients[:2]}
    assert {one["id"] for one in found if one["resourceType"] == "Patient"} == set(patients[:2])
    assert types(found) == set(TYPES) - {"QuestionnaireResponse"}
    refused(exports.posted("/fhir/$export", *wanted), 400, "patient")
    nobody = {"name": "patient", "valueReference": {"reference": "Patient/nobody"}}
    refused(exports.posted("/fhir/Patient/$export", nobody), 400, "patient")


def test_blk_06_too_many_jobs_are_refused_until_one_is_done(exports):
    for _ in range(exports.bulk.most):
        exports.begun()
    answer = exports.ask("/fhir/$export")
    refused(answer, 429)
    assert int(answer.headers["retry-after"]) > 0
    exports.carried_out()
    exports.begun()
