"""$validate, and what can be asked about our own codes, over HTTP (WRT-13, TRM-01, TRM-07)."""

from __future__ import annotations

import itertools
import json

import pytest
from tests.api.serving import FHIR_JSON, Serving, raw_example
from tests.oracles import invariants, structure_401
from tests.oracles.definitions import plain

CANONICAL = "https://brachium.example.org/fhir"
OWN = f"{CANONICAL}/CodeSystem/arm-exam"
CODE = "shoulder-abduction-rom-active"
LOINC, LEFT = "http://loinc.org", "41299-9"


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("checks") / "exams.sqlite3") as serving:
        assert serving.post("/exams", raw_example("draft")).status_code == 201
        yield serving


def post(service, path, body):
    return service.post(f"/fhir/{path}", body, Content_Type=FHIR_JSON)


def parameters(**values):
    listed = [{"name": name, f"value{kind}": value} for name, (kind, value) in values.items()]
    return {"resourceType": "Parameters", "parameter": listed}


def told(answer) -> dict:
    """The plain parameters of an answer, and its matches under ``match``."""
    assert answer.status_code == 200, answer.text
    found = {"match": []}
    for one in answer.json()["parameter"]:
        if one["name"] == "match":
            parts = {
                part["name"]: next((v for k, v in part.items() if k.startswith("value")), part)
                for part in one["part"]
            }
            found["match"].append(parts)
        else:
            found[one["name"]] = next((v for k, v in one.items() if k != "name"), None)
    return found


def observation(service):
    return service.get("/fhir/Observation?_count=1").json()["entry"][0]["resource"]


def totals(service):
    kinds = ("Observation", "Patient", "DiagnosticReport", "Provenance")
    return [service.get(f"/fhir/{kind}").json()["total"] for kind in kinds]


def test_wrt_13_validate_tells_an_invariant_and_stores_nothing(service):
    before = totals(service)
    one = observation(service) | {"dataAbsentReason": {"text": "x"}, "valueString": "x"}
    answer = post(service, "Observation/$validate", one)
    assert answer.status_code == 200
    issues = answer.json()["issue"]
    assert {"error"} == {issue["severity"] for issue in issues}
    broken = [issue for issue in issues if issue["code"] == "invariant"]
    assert any("obs-6" in issue["details"]["text"] for issue in broken)
    assert all(issue["expression"] == ["Observation"] for issue in broken)
    assert totals(service) == before


def test_wrt_13_validate_of_what_the_service_made(service):
    answer = post(service, "Observation/$validate", observation(service))
    assert answer.headers["content-type"] == FHIR_JSON
    assert [issue["severity"] for issue in answer.json()["issue"]] == ["information"]


POLICIES = ({}, {"side": "site"}, {"side": "code"}, {"snomed": False}, {"unverified": False})


@pytest.mark.parametrize("changed", POLICIES, ids=str)
def test_wrt_13_every_bundle_of_an_exam_is_clean_through_its_life(tmp_path, changed):
    with Serving(tmp_path / "exams.sqlite3", **changed) as serving:
        exam = json.loads(raw_example("parts-not-tested"))
        where = serving.post("/exams", exam).json()["links"]["self"].rpartition("/exams/")[2]
        _all_clean(serving, where)
        exam["note"] = "Read again."
        change = {"reason": "A word was missing.", "exam": exam}
        answer = serving.put(f"/exams/{where}", change, If_Match='W/"1"')
        assert answer.status_code == 200, answer.text
        _all_clean(serving, where)
        gone = serving.post(f"/exams/{where}/withdrawal", {"reason": "x"}, If_Match='W/"2"')
        assert gone.status_code == 200, gone.text
        _all_clean(serving, where)


def _all_clean(serving, where):
    for kind in ("collection", "transaction", "document"):
        bundle = serving.get(f"/exams/{where}/bundle?type={kind}")
        assert bundle.status_code == 200
        issues = post(serving, "Bundle/$validate", bundle.content).json()["issue"]
        assert [one for one in issues if one["severity"] == "error"] == [], kind


def test_wrt_13_validate_takes_parameters_profile_and_mode(service):
    one = observation(service)
    body = parameters(
        mode=("Code", "create"), profile=("Uri", f"{CANONICAL}/StructureDefinition/x")
    )
    body["parameter"].append({"name": "resource", "resource": one})
    found = post(service, "Observation/$validate", body).json()["issue"]
    assert [issue["details"]["coding"][0]["code"] for issue in found] == ["profile-unknown"]
    found = post(service, "Observation/$validate?mode=update", {**one, "id": None}).json()["issue"]
    assert any(issue["expression"] == ["Observation.id"] for issue in found)
    found = post(service, "Observation/$validate", parameters(mode=("Code", "delete"))).json()
    assert found["issue"][0]["code"] == "not-supported"
    found = post(service, "Patient/$validate", one).json()["issue"]
    assert found[0]["expression"] == ["resourceType"]


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("Observation/$validate", b"{", 400),
        ("Observation/$validate", b"[]", 400),
        ("Observation/$validate", b'{"a":1,"a":2}', 400),
        ("Observation/$validate", b'{"resourceType":"Parameters"}', 400),
        ("Observation/$validate", b'{"resourceType":"Parameters","parameter":[7]}', 400),
        ("Observation/$validate?mode=maybe", b"{}", 400),
        ("Observation/$validate?colour=red", b"{}", 400),
        ("Medication/$validate", b"{}", 404),
        ("CodeSystem/$lookup", b'{"resourceType":"Patient"}', 400),
        ("CodeSystem/$lookup?version=1", b"", 400),
        ("ValueSet/$expand", b"", 400),
        ("ValueSet/arm-exam-motion/$expand?count=-1", b"", 400),
        ("ValueSet/nothing/$expand", b"", 404),
        ("ConceptMap/$translate?url=urn:x&code=x", b"", 404),
        ("ConceptMap/$translate?code=x&reverse=maybe", b"", 400),
    ],
)
def test_wrt_13_trm_07_what_cannot_be_asked_is_refused(service, path, body, status):
    answer = post(service, path, body)
    assert answer.status_code == status, answer.text
    assert answer.json()["resourceType"] == "OperationOutcome"


def test_wrt_13_whatever_stands_for_a_resource_gets_an_answer(service):
    odd = (None, True, 0, -1.5e300, "", "x" * 5000, [], [[]], {}, {"resourceType": 7})
    for kind, value in itertools.product(("Observation", "Bundle", "QuestionnaireResponse"), odd):
        for body in (
            {"resourceType": kind, "entry": value, "item": value, "code": value},
            {"resourceType": "Parameters", "parameter": [{"name": "resource", "resource": value}]},
        ):
            raw = json.dumps(body).encode()
            assert post(service, f"{kind}/$validate", raw).status_code in (200, 400)


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_trm_07_lookup_and_validate_code(service, method):
    def ask(path, **values):
        if method == "POST":
            return post(service, path, parameters(**{k: ("String", v) for k, v in values.items()}))
        return service.ask("GET", f"/fhir/{path}", params=values)

    found = told(ask("CodeSystem/$lookup", system=OWN, code=CODE))
    assert found["display"] == "Shoulder abduction, active range of motion"
    assert found["version"] == service.parts.tables.edition
    assert ask("CodeSystem/$lookup", system=OWN, code="nothing").status_code == 404
    assert ask("CodeSystem/$lookup", system=OWN, code=CODE, version="1").status_code == 404
    assert told(ask("CodeSystem/$validate-code", url=OWN, code=CODE))["result"] is True
    assert told(ask("CodeSystem/arm-exam/$validate-code", code="x"))["result"] is False
    found = told(ask("CodeSystem/arm-exam/$validate-code", code=CODE, display="Other"))
    assert found["result"] is False
    assert found["display"] == "Shoulder abduction, active range of motion"
    motion = f"{CANONICAL}/ValueSet/arm-exam-motion"
    assert told(ask("ValueSet/$validate-code", url=motion, system=OWN, code=CODE))["result"] is True
    assert told(ask("ValueSet/arm-exam-sign/$validate-code", code=CODE))["result"] is False
    assert (
        told(ask("ValueSet/arm-exam-motion/$validate-code", system="urn:x", code=CODE))["result"]
        is False
    )


def test_trm_07_validate_code_of_codings_and_concepts(service):
    coding = {"system": OWN, "code": CODE}
    body = parameters(coding=("Coding", coding))
    assert told(post(service, "ValueSet/arm-exam-motion/$validate-code", body))["result"] is True
    concept = {"coding": [{"system": LOINC, "code": LEFT}, coding]}
    body = parameters(codeableConcept=("CodeableConcept", concept))
    assert told(post(service, "ValueSet/arm-exam-motion/$validate-code", body))["result"] is True
    assert told(post(service, "ValueSet/arm-exam-site/$validate-code", body))["result"] is False


@pytest.mark.usefixtures("fhir_definitions")
def test_trm_07_expand_filters_and_pages(service):
    whole = service.get("/fhir/ValueSet/arm-exam-motion/$expand").json()
    assert invariants.complaints(whole) == []
    assert structure_401.complaints(plain(whole)) == []
    codes = [one["code"] for one in whole["expansion"]["contains"]]
    assert whole["expansion"]["total"] == len(codes) == len(set(codes)) > 50
    paged = []
    for offset in range(0, len(codes), 20):
        page = service.get(
            f"/fhir/ValueSet/arm-exam-motion/$expand?offset={offset}&count=20"
        ).json()
        assert page["expansion"]["total"] == len(codes)
        paged += [one["code"] for one in page["expansion"]["contains"]]
    assert paged == codes
    some = service.get("/fhir/ValueSet/arm-exam-motion/$expand?filter=ABDUCTION").json()
    displays = [one["display"] for one in some["expansion"]["contains"]]
    assert displays
    assert all("abduction" in one.lower() for one in displays)
    none = service.get("/fhir/ValueSet/arm-exam-motion/$expand?count=0").json()["expansion"]
    assert "contains" not in none
    assert none["total"] == len(codes)
    every = service.get("/fhir/ValueSet?_count=100").json()["entry"]
    for entry in every:
        url = entry["resource"]["url"]
        found = service.ask("GET", "/fhir/ValueSet/$expand", params={"url": url})
        assert found.json()["expansion"]["total"] > 0, url


def test_trm_07_translate_to_standard_codes_and_back(service):
    found = told(service.get(f"/fhir/ConceptMap/$translate?system={OWN}&code={CODE}"))
    assert found["result"] is True
    assert LEFT not in [one["concept"]["code"] for one in found["match"]]
    assert "one side only" in found["message"]
    body = parameters(coding=("Coding", {"system": OWN, "code": CODE}))
    side = {"name": "concept", "valueCodeableConcept": {"coding": [{"code": "side-left"}]}}
    part = [{"name": "element", "valueUri": f"{CANONICAL}/laterality"}, side]
    body["parameter"].append({"name": "dependency", "part": part})
    sided = told(post(service, "ConceptMap/$translate", body))
    assert LEFT in [one["concept"]["code"] for one in sided["match"]]
    back = told(service.get(f"/fhir/ConceptMap/$translate?system={LOINC}&code={LEFT}&reverse=true"))
    assert [one["concept"]["code"] for one in back["match"]] == [CODE]
    path = f"ConceptMap/arm-exam-to-loinc/$translate?system={OWN}&code={CODE}&targetsystem=urn:x"
    assert told(service.get(f"/fhir/{path}"))["result"] is False


def test_trm_07_every_mapping_is_found_both_ways(service):
    for entry in service.get("/fhir/ConceptMap").json()["entry"]:
        group = entry["resource"]["group"][0]
        for element in group["element"][:6]:
            for target in element["target"]:
                query = {"system": group["target"], "code": target["code"], "reverse": "true"}
                back = service.ask("GET", "/fhir/ConceptMap/$translate", params=query)
                codes = [one["concept"]["code"] for one in told(back)["match"]]
                assert element["code"] in codes


def test_trm_01_artifacts_are_found_by_url_version_name_and_status(service):
    for kind, count in (("StructureDefinition", 19), ("ValueSet", 14), ("CodeSystem", 3)):
        entries = service.get(f"/fhir/{kind}?_count=200").json()["entry"]
        assert len(entries) >= count, kind
        one = entries[-1]["resource"]
        for name in ("url", "version", "name", "status"):
            found = service.ask("GET", f"/fhir/{kind}", params={name: one[name]}).json()
            assert one["id"] in [two["resource"]["id"] for two in found["entry"]], (kind, name)
    named = service.get("/fhir/NamingSystem?name=ArmExam").json()
    assert [entry["resource"]["id"] for entry in named["entry"]] == ["arm-exam"]
    claimed = service.get("/fhir/metadata").json()["rest"][0]["resource"]
    profiles = [url for one in claimed for url in one.get("supportedProfile", ())]
    assert len(profiles) >= 10
    for url in profiles:
        found = service.ask("GET", "/fhir/StructureDefinition", params={"url": url}).json()
        assert found["total"] == 1, url
