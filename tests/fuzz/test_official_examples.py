"""HL7's own examples posted to be stored: refused with a way out. Ours are taken in."""

from __future__ import annotations

import json

import pytest
from tests.api.serving import FHIR_JSON, ROOT, Serving
from tests.conftest import _missing
from tests.oracles.definitions import DefinitionsUnavailableError
from tests.profiles.official import folder

KINDS = ("Observation", "Bundle", "Patient", "DiagnosticReport")


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("official") / "exams.sqlite3") as serving:
        yield serving


@pytest.fixture(scope="module")
def foreign():
    try:
        home = folder()
    except DefinitionsUnavailableError as error:
        _missing(f"HL7's official examples: {error}")
        raise
    return {kind: sorted(home.glob(f"{kind}-*.json")) for kind in KINDS}


def address(kind):
    return "/fhir" if kind == "Bundle" else f"/fhir/{kind}"


@pytest.mark.parametrize("kind", KINDS)
def test_err_01_an_official_example_is_refused_with_a_way_out(service, foreign, kind):
    assert len(foreign[kind]) > 5
    before = service.get("/fhir/_history").json()["total"]
    for path in foreign[kind]:
        body = path.read_bytes()
        answer = service.post(address(kind), body, Content_Type=FHIR_JSON)
        told = answer.json()
        if json.loads(body).get("type") == "batch":
            assert answer.status_code == 200
            assert_answered(json.loads(body), told)
            continue
        assert 400 <= answer.status_code < 500, (path.name, answer.status_code)
        assert told["resourceType"] == "OperationOutcome", path.name
        errors = [one for one in told["issue"] if one["severity"] in ("error", "fatal")]
        assert errors, path.name
        for one in errors:
            assert one["details"]["coding"][0]["code"], path.name
            assert one["details"]["text"], path.name
            # what to do instead
            assert len(one["diagnostics"]) > 20, path.name
    assert service.get("/fhir/_history").json()["total"] == before


def assert_answered(batch, told):
    """Each request of a batch has an answer of its own: a search or read, or the refusal."""
    assert len(told["entry"]) == len(batch["entry"])
    for asked, entry in zip(batch["entry"], told["entry"], strict=True):
        reads = asked["request"]["method"] == "GET"
        assert reads or entry["response"]["status"][0] == "4"


@pytest.mark.parametrize("kind", ["Observation", "Patient", "DiagnosticReport"])
def test_err_01_the_refusal_names_the_way_in(service, foreign, kind):
    answer = service.post(address(kind), foreign[kind][0].read_bytes(), Content_Type=FHIR_JSON)
    assert answer.status_code == 405
    (issue,) = answer.json()["issue"]
    assert issue["code"] == "not-supported"
    assert "transaction" in issue["diagnostics"].lower()


OURS = sorted((ROOT / "examples/bundles").glob("*.transaction.json"))
FORMS = sorted((ROOT / "examples/responses").glob("*.json"))


@pytest.mark.parametrize("path", [*OURS, *FORMS], ids=lambda path: path.stem)
def test_txn_01_wrt_01_examples_of_ours_are_taken_in(tmp_path, path):
    with Serving(tmp_path / "exams.sqlite3") as service:
        to = "/fhir" if path in OURS else "/fhir/QuestionnaireResponse"
        answer = service.post(to, path.read_bytes(), Content_Type=FHIR_JSON)
        assert answer.status_code == (200 if path in OURS else 201), answer.text
        assert service.get("/fhir/DiagnosticReport?_summary=count").json()["total"] == 1
