"""What a client may not read comes along with nothing else it may (SMART App Launch 2.2)."""

from __future__ import annotations

import pytest
from tests.api.searched import matches
from tests.api.serving import example, raw_example
from tests.security.logins import Guarded

ONLY = "system/Observation.rs"


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Guarded(tmp_path_factory.mktemp("scopes")) as serving:
        headers = {**serving.as_client(), "Content-Type": "application/json"}
        for name in ("recovering-shoulder-1", "recovering-shoulder-2"):
            answer = serving.ask("POST", "/exams", content=raw_example(name), headers=headers)
            assert answer.status_code == 201, answer.text
        serving.register("narrow", "engineer", f"{ONLY} system/Patient.r")
        yield serving


@pytest.fixture(scope="module")
def narrow(service):
    """May read and search Observations, and nothing else."""
    return service.as_client("narrow", ONLY)


def got(service, path, headers):
    answer = service.ask("GET", f"/fhir/{path}", headers=headers)
    assert answer.status_code == 200, answer.text
    return answer.json()


def kinds(bundle, mode="match"):
    return {one["resourceType"] for one in matches(bundle, mode)}


def test_src_16_includes_are_of_types_that_may_be_read(service, narrow):
    query = "Observation?_count=500&_include=Observation:subject&_include=Observation:performer"
    query += "&_include=Observation:has-member&_revinclude=Provenance:target"
    assert kinds(got(service, query, narrow), "include") == set()
    whole = got(service, query, service.as_client("app", "system/*.rs"))
    assert kinds(whole, "include") == {"Patient", "Practitioner", "Provenance"}


def test_err_07_a_chain_needs_the_type_it_goes_through(service, narrow):
    by = example("recovering-shoulder-1")["patient"]["identifier"]
    query = f"Observation?patient.identifier={by['system']}|{by['value']}"
    answer = service.ask("GET", f"/fhir/{query}", headers=narrow)
    assert answer.status_code == 403
    assert 'scope="system/Patient.s"' in answer.headers["www-authenticate"]
    lastn = query.replace("Observation?", "Observation/$lastn?")
    assert service.ask("GET", f"/fhir/{lastn}", headers=narrow).status_code == 403
    wide = service.as_client("app", "system/*.rs")
    assert got(service, query, wide)["total"] > 0
    assert got(service, lastn, wide)["total"] > 0


def test_src_23_everything_holds_the_types_that_may_be_read(service):
    wide = service.as_client("app", "system/*.rs")
    patient = matches(got(service, "Patient", wide))[0]["id"]
    path = f"Patient/{patient}/$everything"
    narrow = service.as_client("narrow", f"{ONLY} system/Patient.r")
    found = got(service, path, narrow)
    assert kinds(found) == {"Patient", "Observation"}
    assert found["total"] == len(matches(found))
    assert {"Provenance", "Practitioner"} < kinds(got(service, path, wide))


def test_a_link_of_another_client_needs_the_same_scopes(service, narrow):
    wide = service.as_client("app", "system/*.rs")
    page = got(service, "DiagnosticReport?_count=1", wide)
    (following,) = [one["url"] for one in page["link"] if one["relation"] == "next"]
    path = following.partition("/fhir/")[2]
    assert service.ask("GET", f"/fhir/{path}", headers=narrow).status_code == 403
    assert got(service, path, wide)["total"] == 2


def test_the_history_of_everything_needs_everything(service, narrow):
    assert service.ask("GET", "/fhir/_history", headers=narrow).status_code == 403
    assert service.ask("GET", "/fhir/Patient/_history", headers=narrow).status_code == 403
    assert got(service, "Observation/_history?_count=1", narrow)["total"] > 0
