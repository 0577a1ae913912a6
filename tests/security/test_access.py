"""Every route: closed without a token, closed with the wrong scope, open with the right one."""

from __future__ import annotations

import re

import pytest
from tests.api.serving import example, raw_example
from tests.security.logins import Guarded

from brachium.api.access import EXAM, ROWS, TYPE, Access, Need, Row
from brachium.api.smart import WELL_KNOWN

# what may be read without a token; everything else of the OpenAPI document may not
OPEN = {
    ("get", "/"),
    ("get", "/docs"),
    ("get", "/openapi.json"),
    ("get", "/rules"),
    ("get", "/rules/{code}"),
    ("get", "/live"),
    ("get", "/ready"),
    ("get", "/fhir/metadata"),
    ("get", WELL_KNOWN),
    ("post", "/auth/token"),
}
FHIR_JSON = "application/fhir+json"


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Guarded(tmp_path_factory.mktemp("guarded")) as serving:
        yield serving


@pytest.fixture(scope="module")
def operations(service):
    paths = service.get("/openapi.json").json()["paths"]
    found = [(method, path) for path, methods in paths.items() for method in methods]
    assert len(found) > 20
    return found


def filled(path: str, kind: str = "Observation") -> str:
    """The path with something in place of its names."""
    return re.sub(r"\{\w+\}", "x", path.replace(TYPE, kind))


def test_without_a_token_only_what_is_listed_is_open(service, operations):
    for method, path in operations:
        answer = service.ask(method.upper(), filled(path))
        if (method, path) in OPEN:
            assert answer.status_code not in (401, 403) or path == "/auth/token", path
        else:
            assert answer.status_code == 401, path


def test_err_07_without_a_token_the_answer_says_so(service, operations):
    for method, path in operations:
        if (method, path) in OPEN:
            continue
        answer = service.ask(method.upper(), filled(path), headers={"Accept": FHIR_JSON})
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"] == 'Bearer realm="brachium"'
        assert answer.headers["content-type"] == FHIR_JSON
        assert answer.json()["resourceType"] == "OperationOutcome"
        assert answer.json()["issue"][0]["code"] == "login"


def test_err_07_with_the_wrong_scope_the_answer_names_the_missing_one(service, operations):
    service.register("narrow", "engineer", "system/ConceptMap.s")
    held = service.as_client("narrow", "system/ConceptMap.s")
    seen = 0
    for method, path in operations:
        row, _ = Access().find(method.upper(), path)
        if row.need.open or not row.need.letters:
            continue
        seen += 1
        answer = service.ask(method.upper(), filled(path), headers=held)
        assert answer.status_code == 403, path
        challenge = answer.headers["www-authenticate"]
        assert 'error="insufficient_scope"' in challenge
        first = row.need.types[0].replace(TYPE, "Observation")
        assert f"system/{first}.{row.need.letters}" in challenge
        problem = (answer.json().get("issue") or answer.json()["problems"])[0]
        assert (problem.get("issueType") or problem["code"]) == "forbidden"
        told = problem["details"]["text"] if "details" in problem else problem["message"]
        assert f"system/{first}.{row.need.letters}" in told
    assert seen > 15


def test_with_every_scope_no_route_is_closed(service, operations):
    app, auditor = service.as_client(), service.as_client("auditor", "system/*.rs")
    for method, path in operations:
        row, _ = Access().find(method.upper(), path)
        # the trail is for auditors alone, whatever else a client may do
        held = auditor if "AuditEvent" in row.need.types else app
        answer = service.ask(method.upper(), filled(path), headers=held)
        assert answer.status_code not in (401, 403) or path == "/auth/token", path


def test_err_07_an_expired_token_is_told_from_an_unknown_one(guarded):
    held = guarded.as_client()
    guarded.clock.now += 299
    assert guarded.ask("GET", "/fhir/Patient", headers=held).status_code == 200
    guarded.clock.now += 1
    answer = guarded.ask("GET", "/fhir/Patient", headers=held)
    assert answer.status_code == 401
    assert answer.json()["issue"][0]["code"] == "expired"
    assert 'error="invalid_token"' in answer.headers["www-authenticate"]


@pytest.mark.parametrize("given", ["Bearer nonsense", "Basic YTpi", "Bearer", "Bearer a b", ""])
def test_err_07_a_token_that_is_not_ours_is_no_login(service, given):
    answer = service.ask("GET", "/fhir/Patient", headers={"Authorization": given})
    assert answer.status_code == 401
    assert answer.json()["issue"][0]["code"] == "login"
    assert 'error="invalid_token"' in answer.headers["www-authenticate"]


def test_err_07_a_token_in_the_address_is_no_login(service):
    token = service.token()
    assert service.ask("GET", f"/fhir/Patient?access_token={token}").status_code == 401


def test_sec_07_reading_observations_allows_that_and_nothing_else(guarded, stored):
    held = guarded.as_client("reader", "system/Observation.rs")

    def status(method, path, **more):
        headers = {**held, "Content-Type": "application/json", **more.pop("headers", {})}
        return guarded.ask(method, path, headers=headers, **more).status_code

    found = guarded.ask("GET", "/fhir/Observation", headers=held).json()
    one = found["entry"][0]["resource"]["id"]
    assert found["total"] > 0
    assert status("GET", f"/fhir/Observation/{one}") == 200
    assert status("HEAD", f"/fhir/Observation/{one}") == 200
    assert status("GET", f"/fhir/Observation/{one}/_history") == 200
    assert status("GET", f"/fhir/Observation/{one}/_history/1") == 200
    assert status("POST", "/exams", content=raw_example("child")) == 403
    change = {"json": {"exam": example("stiff-shoulder"), "reason": "x"}}
    conditional = {"headers": {"If-Match": 'W/"1"'}}
    assert status("PUT", f"/exams/{stored['id']}", **change, **conditional) == 403
    assert status("GET", f"/exams/{stored['id']}") == 403
    assert status("GET", "/fhir/Patient") == 403
    patient = guarded.ask("GET", "/fhir/Patient", headers=guarded.as_client()).json()
    assert status("GET", f"/fhir/Patient/{patient['entry'][0]['resource']['id']}") == 403


@pytest.mark.parametrize(("letters", "read", "search"), [("r", 200, 403), ("s", 403, 200)])
@pytest.mark.usefixtures("stored")
def test_sec_07_reading_and_searching_are_apart(guarded, letters, read, search):
    patients = guarded.ask("GET", "/fhir/Patient", headers=guarded.as_client()).json()
    path = f"/fhir/Patient/{patients['entry'][0]['resource']['id']}"
    held = guarded.as_client(scope=f"system/Patient.{letters}")
    assert guarded.ask("GET", path, headers=held).status_code == read
    assert guarded.ask("GET", f"{path}/_history", headers=held).status_code == read
    assert guarded.ask("GET", f"{path}/_history/1", headers=held).status_code == read
    assert guarded.ask("GET", "/fhir/Patient", headers=held).status_code == search


@pytest.mark.usefixtures("stored")
def test_sec_08_an_older_scope_works_as_its_letters(guarded):
    held = guarded.as_client("reader", "system/Observation.read")
    found = guarded.ask("GET", "/fhir/Observation", headers=held)
    assert found.status_code == 200
    assert found.json()["total"] > 0
    one = found.json()["entry"][0]["resource"]["id"]
    assert guarded.ask("GET", f"/fhir/Observation/{one}", headers=held).status_code == 200
    capabilities = guarded.get(WELL_KNOWN).json()["capabilities"]
    assert {"permission-v1", "permission-v2"} <= set(capabilities)


@pytest.mark.usefixtures("stored")
def test_sec_07_what_comes_along_needs_its_own_scope(guarded):
    path = "/fhir/Observation?_revinclude=Provenance:target"
    both = guarded.ask("GET", path, headers=guarded.as_client()).json()
    assert {e["resource"]["resourceType"] for e in both["entry"]} == {"Observation", "Provenance"}
    held = guarded.as_client("reader", "system/Observation.rs")
    one = guarded.ask("GET", path, headers=held).json()
    assert {e["resource"]["resourceType"] for e in one["entry"]} == {"Observation"}
    assert one["total"] == both["total"]


def test_an_exam_needs_the_scopes_of_all_that_it_becomes(guarded):
    lacking = " ".join(f"system/{kind}.cru" for kind in EXAM if kind != "Patient")
    held = {**guarded.as_client(scope=lacking), "Content-Type": "application/json"}
    answer = guarded.ask("POST", "/exams", content=raw_example("child"), headers=held)
    assert answer.status_code == 403
    assert "system/Patient.c" in answer.json()["problems"][0]["message"]
    every = " ".join(f"system/{kind}.cru" for kind in EXAM)
    held = {**guarded.as_client(scope=every), "Content-Type": "application/json"}
    answer = guarded.ask("POST", "/exams", content=raw_example("child"), headers=held)
    assert answer.status_code == 201
    bundle = guarded.ask("GET", f"/exams/{answer.json()['id']}/bundle", headers=held).json()
    kinds = {entry["resource"]["resourceType"] for entry in bundle["entry"]}
    assert kinds <= set(EXAM)


def test_an_auditor_changes_nothing(service):
    held = {**service.as_client("auditor", "system/*.rs"), "Content-Type": "application/json"}
    answer = service.ask("POST", "/exams", content=raw_example("child"), headers=held)
    assert answer.status_code == 403


def test_ops_01_a_spoofed_host_changes_no_address(guarded, stored):
    held = {**guarded.as_client(), "Host": "evil.example.net"}
    for path in (f"/exams/{stored['id']}", "/fhir/Observation", "/", WELL_KNOWN):
        assert "evil" not in guarded.ask("GET", path, headers=held).text


def test_a_route_without_a_row_stops_the_service():
    with pytest.raises(RuntimeError, match="GET /new"):
        Access().check([("GET", "/live"), ("GET", "/new")])
    with pytest.raises(RuntimeError, match="DELETE /live"):
        Access().check([("DELETE", "/live")])
    # a row for other paths of the same shape is no row for this one
    with pytest.raises(RuntimeError, match="special"):
        Access().check([("GET", "/fhir/Patient/special")])


def test_the_nearest_row_counts_whatever_the_order():
    general, special = Row("GET", "/a/{x}", Need("", "r")), Row("GET", "/a/b", Need("", "s"))
    for rows in ((general, special), (special, general)):
        assert Access(rows).find("GET", "/a/b")[0] is special
        assert Access(rows).find("GET", "/a/c")[0] is general
        assert Access(rows).find("GET", "/a/c/d") == (None, "")


def test_every_row_says_why():
    assert all(row.need.why for row in ROWS)
    assert {(row.method.lower(), row.path) for row in ROWS if row.need.open} == OPEN


def test_what_is_no_address_is_closed_too(service):
    assert service.get("/nothing/here").status_code == 401
    assert service.get("/fhir/a/b/c/d/e").status_code == 401
    held = service.as_client()
    assert service.ask("GET", "/nothing/here", headers=held).status_code == 404
    assert service.ask("GET", "/fhir/Observation/", headers=held).status_code == 404
    assert service.ask("DELETE", "/exams", headers=held).status_code == 405


def test_sec_02_the_smart_configuration(service):
    for accept in ("text/html", "application/fhir+json", "*/*"):
        answer = service.get(WELL_KNOWN, accept=accept)
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "application/json"
    found = answer.json()
    assert found["token_endpoint"].endswith("/auth/token")
    assert found["token_endpoint"].startswith("https://")
    assert found["grant_types_supported"] == ["client_credentials"]
    assert found["token_endpoint_auth_methods_supported"] == ["private_key_jwt"]
    assert found["token_endpoint_auth_signing_alg_values_supported"] == ["RS384", "ES384"]
    assert found["code_challenge_methods_supported"] == ["S256"]
    assert {"client-confidential-asymmetric", "permission-v2"} <= set(found["capabilities"])


def test_sec_02_every_scope_that_is_advertised_can_be_had_and_used(service):
    supported = service.get(WELL_KNOWN).json()["scopes_supported"]
    assert "system/Observation.crus" in supported
    assert "system/CodeSystem.rs" in supported
    assert not any("d" in scope.rpartition(".")[2] for scope in supported if "read" not in scope)
    for scope in supported:
        who = "auditor" if "AuditEvent" in scope else "app"
        held = service.as_client(who, scope=scope)
        kind = scope.removeprefix("system/").partition(".")[0].replace("*", "Observation")
        answer = service.ask("GET", f"/fhir/{kind}", headers=held)
        assert answer.status_code == 200, scope


def test_cap_02_cap_09_the_statement_is_open_and_names_smart(service):
    answer = service.get("/fhir/metadata")
    assert answer.status_code == 200
    security = answer.json()["rest"][0]["security"]
    codings = [coding for one in security["service"] for coding in one["coding"]]
    assert "SMART-on-FHIR" in [coding["code"] for coding in codings]
    assert "auth/token" not in answer.text
    assert service.get(WELL_KNOWN).status_code == 200


def test_the_openapi_document_says_what_each_operation_needs(service, operations):
    document = service.get("/openapi.json").json()
    assert "smart" in document["components"]["securitySchemes"]
    for method, path in operations:
        operation = document["paths"][path][method]
        assert ("security" not in operation) == ((method, path) in OPEN)
        if "security" in operation:
            assert {"401", "403", "429"} <= set(operation["responses"])
    assert document["paths"]["/exams"]["post"]["security"] == [
        {"smart": [f"system/{kind}.c" for kind in EXAM]}
    ]


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/patients/trend%0A"),
        ("POST", "/exams%0A"),
        ("GET", "/fhir/_history%0A"),
        ("GET", "/catalogue%0D"),
        ("GET", "/live%0A"),
    ],
)
def test_a_line_end_behind_an_address_opens_nothing(service, method, path):
    body = {"identifier": {"system": "https://a.example.org", "value": "1"}}
    assert service.ask(method, path, json=body).status_code == 401
    held = service.as_client("reader", "system/Observation.rs")
    assert service.ask(method, path, headers=held, json=body).status_code == 404
    bundle = {
        "resourceType": "Bundle",
        "type": "batch",
        "entry": [{"request": {"method": "GET", "url": "Observation/$lastn%0A"}}],
    }
    held = {**service.as_client("reader", "system/Observation.rs"), "Content-Type": FHIR_JSON}
    answer = service.ask("POST", "/fhir", headers=held, json=bundle)
    codes = [entry["response"]["status"][:3] for entry in answer.json()["entry"]]
    assert codes == ["404"]
