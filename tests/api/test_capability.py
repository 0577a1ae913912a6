"""The statement and the service say the same, in both directions (matrix CAP)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import orjson
import pytest
from tests.api.forms import create, form
from tests.api.searched import ids, links, searched, walked
from tests.api.serving import BASE, FHIR_JSON, Serving, example, inside, raw_example

from brachium.api import capability, served
from brachium.api.definitions import Definition
from brachium.api.search_matching import elements_at
from brachium.api.search_parameters import Parameter
from brachium.api.served import OPERATIONS, SERVED, Operation

EXAMS = ("stiff-shoulder", "elbow-after-fracture")
# types of R4 that are asked for although nobody claims them
OTHERS = ("Encounter", "Medication", "Bundle", "Basic", "Subscription", "Composition", "Binary")
OPERATION_NAMES = (
    *("validate", "meta", "meta-add", "expand", "lookup", "validate-code", "translate", "subsumes"),
    *("everything", "lastn", "document", "export", "stats", "match", "graph", "convert", "closure"),
    *("process-message", "snapshot", "populate", "implements", "versions", "find-matches", "purge"),
)
# where in a resource the value of a stored parameter stands, for a parameter whose row has no path
PATHS = {
    "identifier": "identifier",
    "code": "code.coding",
    "category": "category.coding",
    "status": "status",
    "method": "method.coding",
    "data-absent-reason": "dataAbsentReason.coding",
    "value-concept": "valueCodeableConcept.coding",
    "value-quantity": "valueQuantity",
    "component-code": "component.code.coding",
    "component-value-quantity": "component.valueQuantity",
    "combo-code": "code.coding",
    "combo-value-quantity": "valueQuantity",
    "-body-site": "bodySite.coding",
    "-laterality": "bodySite.extension.valueCodeableConcept.coding",
    "encounter": "encounter.identifier",
    "issued": "issued",
    "recorded": "recorded",
    "birthdate": "birthDate",
    "gender": "gender",
    "_id": "id",
    "_lastUpdated": "meta.lastUpdated",
    "_profile": "meta.profile",
}
JUDGES = ("structure-r4b", "structure-4.0.1", "invariants")
OWN_KINDS = ("SearchParameter", "OperationDefinition", "Device")
# of all resources of a type one leads to the value through a reference
REFERENCES = {
    ("Provenance", "target"): "target.reference",
    ("Provenance", "entity"): "entity.what.reference",
}


@pytest.fixture(scope="module")
def clinic(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("claims") / "exams.sqlite3") as service:
        for name in EXAMS:
            assert service.post("/exams", raw_example(name)).status_code == 201
        corrected = {**example("stiff-shoulder"), "note": "Looked at again."}
        exam = service.post("/exams", raw_example("stiff-shoulder")).json()["id"]
        body = {"reason": "A note was missing.", "exam": corrected}
        assert service.put(f"/exams/{exam}", body, If_Match='W/"1"').status_code == 200
        draft = example("draft")
        draft["encounter"] = {"identifier": {"system": "https://example.org/e", "value": "E-1"}}
        service.post("/exams", draft)
        assert create(service, form(value="A-FORM")).status_code == 201
        yield service


@pytest.fixture(scope="module")
def statement(clinic):
    answer = clinic.get("/fhir/metadata", Accept=FHIR_JSON)
    assert answer.headers["content-type"] == FHIR_JSON
    return answer.json()


@pytest.fixture(scope="module")
def rest(statement):
    return statement["rest"][0]


@pytest.fixture(scope="module")
def samples(clinic, rest):
    """Every resource of every type that is claimed to be searched."""
    found = {}
    for one in rest["resource"]:
        if {"code": "search-type"} in one.get("interaction", ()):
            bundle = searched(clinic, f"{one['type']}?_count=500")
            found[one["type"]] = [entry["resource"] for entry in bundle.get("entry", ())]
    return found


def claims(rest) -> Mapping[str, set[str]]:
    return {
        one["type"]: {two["code"] for two in one.get("interaction", ())} for one in rest["resource"]
    }


def interactions(kind: str, identity: str) -> Iterator[tuple[str, str, str]]:
    """Every interaction of R4 with a type: its code, method and address."""
    item = f"/fhir/{kind}/{identity}"
    yield "read", "GET", item
    yield "vread", "GET", f"{item}/_history/1"
    yield "history-instance", "GET", f"{item}/_history"
    yield "history-type", "GET", f"/fhir/{kind}/_history"
    yield "search-type", "GET", f"/fhir/{kind}"
    yield "search-type", "POST", f"/fhir/{kind}/_search"
    yield "create", "POST", f"/fhir/{kind}"
    yield "update", "PUT", item
    yield "update", "PUT", f"/fhir/{kind}?identifier=x"
    yield "patch", "PATCH", item
    yield "delete", "DELETE", item
    yield "delete", "DELETE", f"/fhir/{kind}?identifier=x"


def asked(service, method, path):
    headers = {} if path.endswith("_search") else {"Content-Type": FHIR_JSON}
    return service.ask(method, path, headers=headers)


def is_refused(answer) -> bool:
    if answer.status_code not in (404, 405):
        return False
    return answer.json()["issue"][0]["code"] == "not-supported"


def test_cap_01_the_statement_says_what_it_is_about(statement):
    assert (statement["fhirVersion"], statement["kind"]) == ("4.0.1", "instance")
    assert (statement["status"], statement["software"]["name"]) == ("active", "brachium")
    assert statement["implementation"]["url"] == f"{BASE}/fhir"
    assert "application/fhir+json" in statement["format"]
    assert statement["rest"][0]["mode"] == "server"
    assert statement["date"]


@pytest.mark.usefixtures("fhir_definitions")
def test_cap_01_the_statement_and_what_it_names_are_valid(statement, samples):
    from tests.oracles.judge import judge

    made = [one for kind in OWN_KINDS for one in samples[kind]]
    entries = [
        {"fullUrl": f"{BASE}/fhir/{one['resourceType']}/{number}", "resource": one}
        for number, one in enumerate([statement, *made])
    ]
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    assert judge(bundle, None, JUDGES) == []


@pytest.mark.usefixtures("fhir_definitions")
def test_bnd_03_ver_05_bundles_of_searches_and_histories_are_valid(clinic):
    from tests.oracles.judge import judge

    for path in (
        "Observation?_count=5&_revinclude=Provenance:target&_include=Observation:subject&x=1",
        "Observation?_count=0",
        "DiagnosticReport/_history?_count=2",
        "Practitioner?_count=1&_summary=true",
    ):
        assert judge(searched(clinic, path), None, JUDGES) == [], path


def test_cap_02_the_statement_needs_no_login(clinic):
    answer = clinic.ask("GET", "/fhir/metadata", headers={})
    assert answer.status_code == 200


def test_cap_03_the_entity_tag_is_that_of_the_statement(clinic, monkeypatch):
    first = clinic.get("/fhir/metadata")
    assert clinic.get("/fhir/metadata").headers["etag"] == first.headers["etag"]
    same = clinic.get("/fhir/metadata", If_None_Match=first.headers["etag"])
    assert (same.status_code, same.content) == (304, b"")
    settings = clinic.parts.settings
    before = capability.statement(settings, "1", "2026.11")
    assert before == capability.statement(settings, "1", "2026.11")
    one = SERVED["Patient"]
    more = one._replace(own=(*one.own, Parameter("language", "token", "Of the text.")))
    monkeypatch.setattr(capability, "SERVED", {**SERVED, "Patient": more})
    after = capability.statement(settings, "1", "2026.11")
    assert capability.digest_tag(after) != capability.digest_tag(before)


def test_cap_04_what_is_claimed_works_and_the_rest_is_refused(clinic, rest, samples):
    claimed = claims(rest)
    tried = 0
    for kind in {*claimed, *OTHERS, *SERVED}:
        there = samples.get(kind)
        identity = there[0]["id"] if there else "nothing"
        for code, method, path in interactions(kind, identity):
            answer = asked(clinic, method, path)
            where = (kind, code, method, path, answer.status_code)
            if code not in claimed.get(kind, ()):
                assert is_refused(answer), where
            elif method == "GET" and there:
                assert answer.status_code == 200, where
            elif method == "GET":
                assert answer.status_code == (404 if code in ("read", "vread") else 200), where
            else:
                assert answer.status_code not in (405, 501), where
                assert not is_refused(answer), where
            tried += 1
    assert tried > 200


def test_cap_04_every_claimed_type_of_definition_but_those_to_come_has_some(samples):
    empty = {kind for kind, there in samples.items() if not there}
    assert empty <= {"StructureDefinition", "NamingSystem"}


def test_cap_04_the_whole_system(clinic, rest):
    claimed = {one["code"] for one in rest.get("interaction", ())}
    for code, method, path in (
        ("history-system", "GET", "/fhir/_history"),
        ("search-system", "GET", "/fhir?_type=Patient"),
        ("search-system", "POST", "/fhir/_search"),
        ("transaction", "POST", "/fhir"),
    ):
        answer = asked(clinic, method, path)
        if code in claimed:
            assert not is_refused(answer), path
        else:
            assert is_refused(answer), path
    for method in ("PUT", "PATCH", "DELETE"):
        for path in ("/fhir", "/fhir/metadata", "/fhir/Patient/_search", "/fhir/_history"):
            assert is_refused(asked(clinic, method, path)), (method, path)


def test_cap_04_cap_08_no_operation_that_is_not_claimed(clinic, rest, samples):
    of_types = {
        (one["type"], two["name"]) for one in rest["resource"] for two in one.get("operation", ())
    }
    of_system = {one["name"] for one in rest.get("operation", ())}
    for name in OPERATION_NAMES:
        for method in ("GET", "POST"):
            if name not in of_system:
                assert is_refused(asked(clinic, method, f"/fhir/${name}")), name
            for kind in ("Patient", "Observation", "CodeSystem", "Encounter"):
                if (kind, name) in of_types:
                    continue
                identity = samples[kind][0]["id"] if kind in samples else "x"
                for path in (f"/fhir/{kind}/${name}", f"/fhir/{kind}/{identity}/${name}"):
                    assert is_refused(asked(clinic, method, path)), (method, path)


def place(one: Operation, identity: str) -> Iterator[str]:
    addresses = {
        "system": f"/fhir/${one.name}",
        "type": f"/fhir/{one.type}/${one.name}",
        "instance": f"/fhir/{one.type}/{identity}/${one.name}",
    }
    yield from (addresses[level] for level in one.levels)


@pytest.mark.parametrize("one", OPERATIONS, ids=lambda one: f"{one.type}-{one.name}")
def test_cap_08_every_operation_has_a_route_and_a_definition(clinic, rest, samples, one):
    there = samples.get(one.type)
    for path in place(one, there[0]["id"] if there else "nothing"):
        answer = asked(clinic, one.method, path)
        assert not is_refused(answer), path
        assert answer.status_code != 500, path
    resources = {two["type"]: two.get("operation", ()) for two in rest["resource"]}
    declared = resources[one.type] if one.type else rest["operation"]
    (claim,) = [two for two in declared if two["name"] == one.name]
    if claim["definition"].startswith(clinic.parts.settings.canonical):
        (found,) = [
            entry["resource"]
            for entry in searched(clinic, f"OperationDefinition?url={claim['definition']}")["entry"]
        ]
        assert found["code"] == one.name
        assert found[one.levels[0]] is True
    else:
        assert claim["definition"].startswith("http://hl7.org/fhir/")


def text_of(parameter: Parameter, element) -> str:
    if parameter.type == "reference":
        found = element["reference"] if isinstance(element, dict) else element
        return str(found).partition("/_history/")[0]
    if isinstance(element, dict) and parameter.type == "quantity":
        return f"{element['value']}|{element.get('system', '')}|{element.get('code', '')}"
    if isinstance(element, dict):
        return f"{element.get('system', '')}|{element.get('code', element.get('value'))}"
    return str(element)


# where an AuditEvent has what it is searched by
TRAIL = {
    "date": "recorded",
    "patient": "entity.what",
    "entity": "entity.what",
    "policy": "agent.policy",
    "address": "agent.network.address",
}
# what is known by its identifier alone
LOGICAL = {("Observation", "encounter"), ("DiagnosticReport", "encounter")}
LOGICAL |= {("QuestionnaireResponse", "encounter"), ("AuditEvent", "agent")}
# nobody has logged in where these tests ask
UNKNOWN = ("_tag", "_profile", "policy")


def known(clinic, kind: str, parameter: Parameter, there) -> str:
    """A value of a parameter that some resource of the type has."""
    if kind == "AuditEvent" and not parameter.name.startswith("_"):
        path = TRAIL.get(parameter.name, parameter.name)
        found = [one for r in there for one in elements_at(r, path)]
        return next(text_of(parameter, e) for e in found if "identifier" not in e)
    if not SERVED[kind].versioned and parameter.path:
        values = (v for one in there for v in Definition(one).values[parameter.name])
        return next(values)
    if (kind, parameter.name) == ("Provenance", "patient"):
        return searched(clinic, "Patient")["entry"][0]["fullUrl"]
    if (kind, parameter.type) == ("QuestionnaireResponse", "reference"):
        # a form names people by identifier
        who = there[0]["subject" if parameter.name == "patient" else parameter.name]
        token = f"{who['identifier']['system']}|{who['identifier']['value']}"
        return searched(clinic, f"{who['type']}?identifier={token}")["entry"][0]["fullUrl"]
    path = REFERENCES.get((kind, parameter.name)) or parameter.path or PATHS[parameter.name]
    if parameter.name in PATHS and parameter.type != "reference":
        path = PATHS[parameter.name] if parameter.name != "encounter" else path
    return next(text_of(parameter, one) for r in there for one in elements_at(r, path))


NONE = {
    "token": "https://example.org/none|none",
    "reference": "none",
    "date": "1800",
    "quantity": "123456789",
    "uri": "urn:none",
    "string": "none of this",
}


def test_cap_05_every_claimed_parameter_is_honoured(clinic, rest, samples):
    tried = 0
    for one in rest["resource"]:
        kind = one["type"]
        names = [two["name"] for two in one.get("searchParam", ())]
        assert names == [two.name for two in SERVED[kind].parameters] if kind in SERVED else True
        everything = samples.get(kind, ())
        for name in names:
            parameter = SERVED[kind].parameter(name)
            is_logical = (kind, name) in LOGICAL
            asks = f"{name}:identifier" if is_logical else name
            nothing = "none" if name == "_id" else NONE[parameter.type]
            if is_logical:
                nothing = NONE["token"]
            if kind == "AuditEvent" and parameter.type == "reference" and not is_logical:
                # what was asked for is in the trail, found or not
                nothing = f"never-{name}"
            found = clinic.ask("GET", f"/fhir/{kind}", params={asks: nothing}).json()
            assert found["total"] == 0, (kind, name)
            assert name in links(found)["self"].replace("%3A", ":"), (kind, name)
            if everything and not is_logical and name not in UNKNOWN:
                value = known(clinic, kind, parameter, everything).replace(",", r"\,")
                found = clinic.ask("GET", f"/fhir/{kind}", params={asks: value}).json()
                # the trail grows with every search
                most = 10**6 if kind == "AuditEvent" else len(everything)
                assert 0 < found["total"] <= most, (kind, name, value)
            tried += 1
    assert tried > 80


# honoured, and nothing leads there: a Provenance is about what one exam brought
NOTHING_THERE = {("Patient", "Provenance:target")}
NOTHING_THERE |= {("Practitioner", "Provenance:target"), ("Organization", "Provenance:target")}


def test_cap_05_every_claimed_include_brings_something(clinic, rest):
    walk = 0
    for one in rest["resource"]:
        for name, claimed in (("_include", "searchInclude"), ("_revinclude", "searchRevInclude")):
            for path in one.get(claimed, ()):
                first = searched(clinic, f"{one['type']}?{name}={path}&_count=7")
                assert path.replace(":", "%3A") in links(first)["self"]
                brought = any(ids(page, "include") for page in walked(clinic, first))
                assert brought is ((one["type"], path) not in NOTHING_THERE), (one["type"], path)
                walk += 1
    assert walk > 10


def test_cap_06_the_flags_are_what_happens(clinic, rest, samples):
    for one in rest["resource"]:
        if not one.get("interaction"):
            continue
        kind, there = one["type"], samples[one["type"]]
        assert one["updateCreate"] is False
        assert one["conditionalDelete"] == "not-supported"
        writes = {"create", "update"} & claims(rest)[kind]
        assert one["conditionalCreate"] in (False, "create" in writes)
        assert one["conditionalUpdate"] in (False, "update" in writes)
        if not there:
            continue
        path = f"/fhir/{kind}/{there[0]['id']}"
        answer = clinic.get(path)
        same = clinic.get(path, If_None_Match=answer.headers["etag"])
        assert same.status_code == 304
        assert one["readHistory"] is (clinic.get(f"{path}/_history").status_code == 200)
        assert (one["versioning"] != "no-version") is one["readHistory"]
        if one["conditionalRead"] == "full-support":
            since = answer.headers["last-modified"]
            assert clinic.get(path, If_Modified_Since=since).status_code == 304


def test_cap_07_nothing_is_instantiated_that_is_not_proved(statement):
    assert "instantiates" not in statement
    assert "implementationGuide" not in statement


def test_cap_10_own_parameters_are_published(clinic, rest):
    found = searched(clinic, "SearchParameter?base=Observation")
    published = {entry["resource"]["code"]: entry["resource"] for entry in found["entry"]}
    assert {"-body-site", "-laterality"} <= set(published)
    (claimed,) = [one["searchParam"] for one in rest["resource"] if one["type"] == "Observation"]
    for one in claimed:
        if one["name"].startswith("-"):
            resource = published[one["name"]]
            assert resource["url"] == one["definition"]
            assert resource["expression"].startswith("Observation.bodySite")


def test_cap_10_the_expressions_find_what_the_search_finds(clinic, samples):
    from fhirpathpy import evaluate
    from fhirpathpy.models import models

    found = searched(clinic, "SearchParameter?base=Observation")
    for entry in found["entry"]:
        one = entry["resource"]
        for resource in samples["Observation"][:40]:
            concepts = evaluate(resource, one["expression"], {}, models["r4"])
            codings = [coding for concept in concepts for coding in concept["coding"]]
            assert codings, one["expression"]
            for coding in codings:
                query = {one["code"]: f"{coding['system']}|{coding['code']}", "_id": resource["id"]}
                assert clinic.ask("GET", "/fhir/Observation", params=query).json()["total"] == 1


def test_cap_11_the_version_in_accept(clinic):
    accept = "application/fhir+json; fhirVersion="
    assert clinic.get("/fhir/metadata", Accept=f"{accept}4.0").status_code == 200
    refused = clinic.get("/fhir/metadata", Accept=f"{accept}5.0")
    assert refused.status_code == 406
    assert refused.json()["resourceType"] == "OperationOutcome"


def test_cap_12_five_policies_and_the_edition(clinic, rest):
    words = rest["documentation"]
    told = capability.policies(clinic.parts.settings, clinic.parts.tables.edition)
    assert len(told) == 5
    for name, text in told.items():
        assert f"{name}: {text}" in words
    edition = searched(clinic, "ConceptMap")["entry"][0]["resource"]["version"]
    assert f"Edition {edition}." in words


def test_the_tables_are_consistent():
    for kind, one in SERVED.items():
        assert one.type == kind
        for other, name in one.back:
            assert kind in SERVED[other].parameter(name).targets, (kind, other, name)
    names = [(one.type, one.name) for one in OPERATIONS]
    assert len(names) == len(set(names))
    assert set(served.SYSTEM) <= {"history-system", "search-system", "transaction", "batch"}


def test_err_04_definitions_are_valid_json_objects_of_their_type(clinic, samples):
    for kind, there in samples.items():
        for one in there:
            assert one["resourceType"] == kind
            read = clinic.get(f"/fhir/{kind}/{one['id']}")
            assert orjson.loads(read.content) == one
            assert inside(f"{BASE}/fhir/{kind}/{one['id']}")
