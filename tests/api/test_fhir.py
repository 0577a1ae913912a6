"""The reading side of FHIR (matrix VER, NEG, SRC, CAP, BND, PRV, TRM)."""

from __future__ import annotations

from email.utils import parsedate_to_datetime

import pytest
from tests.api.serving import BASE, FHIR_JSON, inside, raw_example
from tests.api.test_changes import REASON, corrected

STORED = [
    "Observation",
    "DiagnosticReport",
    "Patient",
    "Practitioner",
    "Organization",
    "Provenance",
]
TABLES = ["CodeSystem", "ValueSet", "ConceptMap"]


@pytest.fixture
def resources(service, stored):
    bundle = service.get(f"/exams/{stored['id']}/bundle").json()
    return [entry["resource"] for entry in bundle["entry"]]


def one_of(resources, kind):
    return next(one for one in resources if one["resourceType"] == kind)


def test_ver_01_read_tells_version_and_time(service, resources):
    for kind in STORED:
        resource = one_of(resources, kind)
        answer = service.get(f"/fhir/{kind}/{resource['id']}")
        assert answer.json() == resource
        assert answer.headers["etag"] == f'W/"{resource["meta"]["versionId"]}"'
        modified = parsedate_to_datetime(answer.headers["last-modified"])
        assert modified.isoformat()[:19] == resource["meta"]["lastUpdated"][:19]


def test_ver_02_conditional_read(service, resources):
    path = f"/fhir/Observation/{one_of(resources, 'Observation')['id']}"
    assert service.get(path, If_None_Match='W/"1"').status_code == 304
    assert service.get(path, If_None_Match='W/"2"').status_code == 200


@pytest.mark.parametrize(
    "identity", ["nope", "%00", "a b", "x" * 65, "nope/_history", "nope/_history/1"]
)
def test_ver_03_unknown_and_malformed_ids(service, identity):
    answer = service.get(f"/fhir/Observation/{identity}")
    assert answer.status_code in (400, 404)
    assert answer.json()["issue"][0]["code"] == "not-found"


def test_ver_04_ver_05_ver_07_versions_and_history(service, stored):
    key, exam = corrected()
    bundle = service.get(f"/exams/{stored['id']}/bundle").json()
    before = next(
        one["resource"]
        for one in bundle["entry"]
        if one["resource"].get("identifier", [{}])[0].get("value", "").endswith(f"/{key}")
    )
    path = f"/fhir/Observation/{before['id']}"
    first = service.get(f"{path}/_history/1").content
    service.put(f"/exams/{stored['id']}", {"reason": REASON, "exam": exam}, If_Match='W/"1"')
    assert service.get(f"{path}/_history/1").content == first
    assert service.get(f"{path}/_history/2").json() == service.get(path).json()
    for version in ("3", "0", "99999999999", "x"):
        assert service.get(f"{path}/_history/{version}").status_code == 404
    history = service.get(f"{path}/_history").json()
    assert (history["type"], history["total"]) == ("history", 2)
    assert [one["resource"]["meta"]["versionId"] for one in history["entry"]] == ["2", "1"]
    for entry in history["entry"]:
        assert set(entry["request"]) == {"method", "url"}
        assert set(entry["response"]) == {"status", "etag", "lastModified"}
        assert entry["fullUrl"] == f"{BASE}{path}"


@pytest.mark.parametrize(
    "accept",
    [
        None,
        "*/*",
        "application/json",
        "text/json",
        "application/fhir+json;charset=UTF-8",
        "text/html, */*;q=0.1",
    ],
)
def test_neg_01_neg_02_json_in_every_spelling(service, resources, accept):
    path = f"/fhir/Patient/{one_of(resources, 'Patient')['id']}"
    headers = {"Accept": accept} if accept else {}
    answer = service.ask("GET", path, headers=headers)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith(FHIR_JSON)
    assert answer.content.decode("utf-8")


def test_neg_03_neg_05_xml_is_406(service, resources):
    path = f"/fhir/Patient/{one_of(resources, 'Patient')['id']}"
    for answer in (
        service.get(path, Accept="application/fhir+xml"),
        service.get(f"{path}?_format=xml"),
        service.get("/fhir/Patient", Accept="application/fhir+xml"),
        service.get("/fhir/metadata", Accept="application/fhir+json; fhirVersion=5.0"),
    ):
        assert answer.status_code == 406
        assert answer.headers["content-type"] == FHIR_JSON
        assert answer.json()["issue"][0]["code"] == "not-supported"
    override = service.get(f"{path}?_format=json", Accept="application/fhir+xml")
    assert override.status_code == 200


def test_neg_08_nothing_empty_goes_out(service, stored):
    def walk(value, path):
        assert value not in ("", [], {}, None), path
        if isinstance(value, list):
            value = dict(enumerate(value))
        for name, part in value.items() if isinstance(value, dict) else ():
            walk(part, f"{path}.{name}")

    assert stored
    for path in (
        "metadata",
        "CodeSystem",
        "ValueSet",
        "ConceptMap",
        "Observation",
        "Patient?_id=x",
    ):
        walk(service.get(f"/fhir/{path}").json(), path)


def test_neg_11_head_wherever_get(service, stored):
    links = [inside(link) for link in stored["links"].values()]
    for path in [
        "/fhir/metadata",
        "/",
        "/catalogue",
        "/docs",
        "/ready",
        "/fhir/Observation",
        *links,
    ]:
        plain = {"Accept-Encoding": "identity"}
        got, head = (service.ask(method, path, headers=plain) for method in ("GET", "HEAD"))
        assert (head.status_code, head.content) == (200, b""), path
        assert head.headers["content-length"] == str(len(got.content))
        assert head.headers.get("etag") == got.headers.get("etag")


def test_prv_04_provenance_is_found_by_patient_and_by_who_did_it(service, stored, resources):
    assert stored
    patient = f"Patient/{one_of(resources, 'Patient')['id']}"
    examiner = f"Practitioner/{one_of(resources, 'Practitioner')['id']}"
    for query in (f"patient={patient}", f"agent={examiner}"):
        found = service.get(f"/fhir/Provenance?{query}").json()
        assert found["total"] == 1
        agents = [one["who"] for one in found["entry"][0]["resource"]["agent"]]
        assert {"reference": examiner} in agents
    other = "Practitioner/00000000-0000-0000-0000-000000000000"
    assert service.get(f"/fhir/Provenance?agent={other}").json()["total"] == 0


def test_prv_01_one_provenance_per_version(service, stored):
    report = inside(stored["links"]["report"]).rpartition("/")[2]
    found = service.get(f"/fhir/Provenance?target=DiagnosticReport/{report}").json()
    assert found["total"] == 1
    targets = [one["reference"] for one in found["entry"][0]["resource"]["target"]]
    assert f"DiagnosticReport/{report}/_history/1" in targets


def test_trm_01_the_tables_are_served_with_their_edition(service, stored):
    edition = service.get("/").json()["edition"]
    canonical = service.parts.settings.canonical
    for kind in TABLES:
        found = service.get(f"/fhir/{kind}").json()
        assert found["total"] == len(found["entry"]) > 0
        for entry in found["entry"]:
            resource = entry["resource"]
            assert resource["version"] == edition
            assert resource["url"].startswith(f"{canonical}/{kind}/")
            assert service.get(inside(entry["fullUrl"])).json() == resource
            one = service.get(f"/fhir/{kind}?url={resource['url']}").json()
            assert [e["resource"] for e in one["entry"]] == [resource]
    record = service.get(
        f"/fhir/Provenance?target=DiagnosticReport/{inside(stored['links']['report'])[-36:]}"
    )
    assert edition in record.text


def test_trm_01_every_own_code_in_a_bundle_is_in_a_code_system(service, resources):
    systems = {
        entry["resource"]["url"]: {one["code"] for one in entry["resource"]["concept"]}
        for entry in service.get("/fhir/CodeSystem").json()["entry"]
    }
    canonical = service.parts.settings.canonical
    used = set()

    def walk(value):
        if isinstance(value, dict):
            if str(value.get("system", "")).startswith(canonical) and "code" in value:
                used.add((value["system"], value["code"]))
            for part in value.values():
                walk(part)
        elif isinstance(value, list):
            for part in value:
                walk(part)

    walk(resources)
    assert len(used) > 20
    for system, code in used:
        assert code in systems[system], (system, code)


def test_trm_05_no_snomed_content_when_it_is_switched_off(tmp_path):
    from tests.api.serving import Serving

    with Serving(tmp_path / "off.sqlite3", snomed=False) as service:
        assert b"http://snomed.info/sct" not in service.get("/fhir/ConceptMap").content


@pytest.mark.parametrize(
    ("side", "said"),
    [("both", "saying twice"), ("site", "site and in words."), ("code", "whose code has none")],
)
def test_obs_05_the_statement_says_where_the_side_is(tmp_path, side, said):
    from tests.api.serving import Serving

    with Serving(tmp_path / "side.sqlite3", side=side, snomed=False) as service:
        words = service.get("/fhir/metadata").json()["rest"][0]["documentation"]
        assert said in words
        assert "No SNOMED CT code" in words


def test_the_first_version_of_an_exam_posted_twice_has_one_history(service):
    for _ in range(2):
        receipt = service.post("/exams", raw_example("stiff-shoulder")).json()
    assert service.get(f"{inside(receipt['links']['report'])}/_history").json()["total"] == 1


def test_ver_02_a_conditional_read_by_time(service, resources):
    path = f"/fhir/Observation/{one_of(resources, 'Observation')['id']}"
    stored = service.get(path).headers["last-modified"]
    unchanged = service.get(path, If_Modified_Since=stored)
    assert (unchanged.status_code, unchanged.content) == (304, b"")
    assert unchanged.headers["etag"] == 'W/"1"'
    assert service.get(path, If_Modified_Since="Sun, 01 Mar 2020 00:00:00 GMT").status_code == 200
    assert service.get(path, If_Modified_Since="yesterday").status_code == 200
    # If-None-Match speaks alone where both are sent (RFC 9110 13.1.3)
    both = service.get(path, If_Modified_Since=stored, If_None_Match='W/"2"')
    assert both.status_code == 200


def test_ver_08_ids_and_versions_fit_the_datatype(resources):
    import re

    fit = re.compile(r"[A-Za-z0-9\-.]{1,64}")
    for one in resources:
        assert fit.fullmatch(one["id"])
        assert fit.fullmatch(one["meta"]["versionId"])


def test_wrt_11_nothing_is_deleted_and_the_refusal_says_what_to_do(service, resources):
    answer = service.ask("DELETE", f"/fhir/Observation/{one_of(resources, 'Observation')['id']}")
    assert answer.status_code == 405
    assert "GET" in answer.headers["allow"]
    issue = answer.json()["issue"][0]
    assert issue["code"] == "not-supported"
    assert "entered-in-error" in issue["diagnostics"]
