"""The reading side of FHIR (matrix VER, NEG, SRC, CAP, BND, PRV, TRM)."""

from __future__ import annotations

from email.utils import parsedate_to_datetime

import pytest
from tests.api.serving import BASE, FHIR_JSON, example, inside, raw_example
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
        got, head = service.get(path), service.ask("HEAD", path)
        assert (head.status_code, head.content) == (200, b""), path
        assert head.headers["content-length"] == str(len(got.content))
        assert head.headers.get("etag") == got.headers.get("etag")


def test_bnd_03_src_05_search_by_identifier(service, stored):
    by = stored["identifier"]
    query = f"identifier={by['system']}%7C{by['value']}"
    answer = service.get(f"/fhir/DiagnosticReport?{query}")
    found = answer.json()
    assert (found["type"], found["total"]) == ("searchset", 1)
    assert [one["search"]["mode"] for one in found["entry"]] == ["match"]
    (self_link,) = [one["url"] for one in found["link"] if one["relation"] == "self"]
    assert service.get(inside(self_link)).json() == found
    none = service.get(f"/fhir/DiagnosticReport?identifier={by['system']}%7Cother").json()
    assert none["total"] == 0
    assert "entry" not in none


def test_src_06_patient_in_three_forms(service, resources):
    patient = one_of(resources, "Patient")["id"]
    own = sum(one["resourceType"] == "Observation" for one in resources)
    totals = {
        service.get(f"/fhir/Observation?patient={form}").json()["total"]
        for form in (patient, f"Patient/{patient}", f"{BASE}/fhir/Patient/{patient}")
    }
    assert totals == {own}


def test_src_12_next_links_walk_everything_once(service, resources):
    patient = one_of(resources, "Patient")["id"]
    path, seen, pages = f"/fhir/Observation?patient={patient}&_count=7", [], 0
    while path:
        page = service.get(path).json()
        assert len(page["entry"]) <= 7
        seen += [one["resource"]["id"] for one in page["entry"]]
        following = [one["url"] for one in page["link"] if one["relation"] == "next"]
        path = inside(following[0]) if following else None
        pages += 1
    own = {one["id"] for one in resources if one["resourceType"] == "Observation"}
    assert len(seen) == len(set(seen))
    assert set(seen) == own
    assert pages == -(-len(own) // 7)


def test_src_09_an_unknown_parameter_is_named_and_not_in_the_self_link(service, resources):
    patient = one_of(resources, "Patient")["id"]
    found = service.get(f"/fhir/Observation?patinet={patient}&patient={patient}").json()
    (outcome,) = [one for one in found["entry"] if one["search"]["mode"] == "outcome"]
    assert "patinet" in outcome["resource"]["issue"][0]["details"]["text"]
    assert outcome["resource"]["issue"][0]["severity"] == "warning"
    assert "patinet" not in found["link"][0]["url"]
    assert found["total"] == len(found["entry"]) - 1 or "next" in str(found["link"])
    strict = service.get("/fhir/Observation?patinet=x", Prefer="handling=strict")
    assert strict.status_code == 400
    assert strict.json()["issue"][0]["expression"] == ["http.patinet"]


@pytest.mark.parametrize(
    "query",
    [
        "patient:missing=true",
        "identifier:not=a|b",
        "identifier=",
        "patient=Observation/1",
        "_id=a%20b",
        "_count=few",
        "_revinclude=Observation:subject",
        "patient.identifier=a|b",
    ],
)
def test_src_10_src_11_modifiers_and_bad_values_are_400(service, query):
    answer = service.get(f"/fhir/Observation?{query}")
    assert answer.status_code == 400
    assert answer.json()["resourceType"] == "OperationOutcome"


def test_src_11_no_match_is_an_empty_bundle(service, stored):
    assert stored
    found = service.get("/fhir/Observation?patient=unknown")
    assert (found.status_code, found.json()["total"]) == (200, 0)


def test_prv_04_src_16_revinclude_is_not_counted(service, stored):
    report = inside(stored["links"]["report"]).rpartition("/")[2]
    found = service.get(f"/fhir/DiagnosticReport?_id={report}&_revinclude=Provenance:target").json()
    assert found["total"] == 1
    modes = {one["resource"]["resourceType"]: one["search"]["mode"] for one in found["entry"]}
    assert modes == {"DiagnosticReport": "match", "Provenance": "include"}


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


def test_src_21_withdrawn_records_are_found(service, stored, resources):
    patient = one_of(resources, "Patient")["id"]
    before = service.get(f"/fhir/Observation?patient={patient}").json()["total"]
    service.post(f"/exams/{stored['id']}/withdrawal", {"reason": REASON}, If_Match='W/"1"')
    found = service.get(f"/fhir/Observation?patient={patient}&_count=500").json()
    assert found["total"] == before
    assert {one["resource"]["status"] for one in found["entry"]} == {"entered-in-error"}


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


def test_src_12_src_14_the_tables_are_paged_like_everything_else(service):
    everything = service.get("/fhir/CodeSystem").json()
    path, seen = "/fhir/CodeSystem?_count=2", []
    while path:
        page = service.get(path).json()
        assert page["total"] == everything["total"]
        seen += [one["resource"]["id"] for one in page["entry"]]
        following = [one["url"] for one in page["link"] if one["relation"] == "next"]
        path = inside(following[0]) if following else None
    assert seen == [one["resource"]["id"] for one in everything["entry"]]
    for kind in ("CodeSystem", "Observation"):
        counted = service.get(f"/fhir/{kind}?_count=0").json()
        assert "entry" not in counted
        assert [one["relation"] for one in counted["link"]] == ["self"]


def test_trm_05_no_snomed_content_when_it_is_switched_off(tmp_path):
    from tests.api.serving import Serving

    with Serving(tmp_path / "off.sqlite3", snomed=False) as service:
        assert b"http://snomed.info/sct" not in service.get("/fhir/ConceptMap").content


def test_cap_01_the_statement(service):
    answer = service.get("/fhir/metadata", Accept=FHIR_JSON)
    found = answer.json()
    assert answer.headers["content-type"] == FHIR_JSON
    assert (found["fhirVersion"], found["kind"]) == ("4.0.1", "instance")
    assert found["implementation"]["url"] == f"{BASE}/fhir"
    assert "application/fhir+json" in found["format"]
    assert found["rest"][0]["mode"] == "server"


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


def test_cap_03_the_statement_has_an_etag(service):
    first = service.get("/fhir/metadata")
    assert service.get("/fhir/metadata").headers["etag"] == first.headers["etag"]
    same = service.get("/fhir/metadata", If_None_Match=first.headers["etag"])
    assert (same.status_code, same.content) == (304, b"")


def test_cap_04_what_is_listed_works_and_the_rest_is_refused(service, resources):
    listed = {
        one["type"]: {two["code"] for two in one["interaction"]}
        for one in service.get("/fhir/metadata").json()["rest"][0]["resource"]
    }
    assert set(listed) == set(STORED + TABLES)
    ids = {one["resourceType"]: one["id"] for one in resources}
    for kind in TABLES:
        ids[kind] = service.get(f"/fhir/{kind}").json()["entry"][0]["resource"]["id"]
    for kind, codes in listed.items():
        paths = {
            "read": f"/fhir/{kind}/{ids[kind]}",
            "vread": f"/fhir/{kind}/{ids[kind]}/_history/1",
            "history-instance": f"/fhir/{kind}/{ids[kind]}/_history",
            "search-type": f"/fhir/{kind}",
        }
        for code, path in paths.items():
            answer = service.get(path)
            assert answer.status_code == (200 if code in codes else 404), path
        for method, path in (
            ("POST", f"/fhir/{kind}"),
            ("PUT", f"/fhir/{kind}/{ids[kind]}"),
            ("PATCH", f"/fhir/{kind}/{ids[kind]}"),
            ("DELETE", f"/fhir/{kind}/{ids[kind]}"),
            ("GET", f"/fhir/{kind}/_history"),
        ):
            answer = service.ask(method, path, headers={"Content-Type": FHIR_JSON})
            assert answer.status_code in (404, 405), (method, path)
            assert answer.json()["issue"][0]["code"] == "not-supported", (method, path)
    for kind in ("Encounter", "Composition", "nonsense"):
        assert service.get(f"/fhir/{kind}").json()["issue"][0]["code"] == "not-supported"


def test_cap_05_every_listed_parameter_narrows_the_result(service, resources):
    other = example("stiff-shoulder")
    for party in (other, other["patient"], other["examiner"], other["facility"]):
        party["identifier"]["value"] += "-2"
    assert service.post("/exams", other).status_code == 201
    report = one_of(resources, "DiagnosticReport")
    for rest in service.get("/fhir/metadata").json()["rest"][0]["resource"]:
        kind = rest["type"]
        everything = service.get(f"/fhir/{kind}").json()
        sample = one_of(resources, kind) if kind in STORED else everything["entry"][0]["resource"]
        for parameter in (one["name"] for one in rest["searchParam"]):
            by = sample.get("identifier", [{}])
            value = {
                "_id": sample["id"],
                "identifier": "|".join(by[0].get(part, "") for part in ("system", "value")),
                "patient": report["subject"]["reference"],
                "target": f"DiagnosticReport/{report['id']}",
                "agent": report["performer"][0]["reference"],
                "url": sample.get("url"),
            }[parameter]
            found = service.ask("GET", f"/fhir/{kind}", params={parameter: value}).json()
            assert 0 < found["total"] < everything["total"], (kind, parameter)
            assert f"{parameter}=" in found["link"][0]["url"]


def test_the_first_version_of_an_exam_posted_twice_has_one_history(service):
    for _ in range(2):
        receipt = service.post("/exams", raw_example("stiff-shoulder")).json()
    assert service.get(f"{inside(receipt['links']['report'])}/_history").json()["total"] == 1
