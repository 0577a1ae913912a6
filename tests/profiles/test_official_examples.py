"""HL7's own examples to $validate: always an answer, and foreign ones refused with a way out.

Every Observation, DiagnosticReport and Patient goes; of the other types all that are small. The
big Bundles (HL7's definitions, up to 10 MB) go with ``python -m tests.profiles.everything``.
"""

from __future__ import annotations

import pytest
from tests.api.serving import Serving
from tests.conftest import _missing
from tests.oracles.definitions import DefinitionsUnavailableError
from tests.profiles.judged import R4
from tests.profiles.official import KINDS, folder

ALWAYS = ("Observation", "DiagnosticReport", "Patient")
SMALL = 60_000
# examples that break R4 themselves: a performer of a type that may not perform
WRONG = {"Observation-clinical-gender.json"}


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("official") / "exams.sqlite3") as serving:
        yield serving


@pytest.fixture(scope="module")
def examples():
    try:
        found = sorted(folder().glob("*.json"))
    except DefinitionsUnavailableError as error:
        _missing(f"HL7's official examples: {error}")
        raise
    return [one for one in found if one.name.startswith(ALWAYS) or one.stat().st_size < SMALL]


def sent(service, path, profile=""):
    kind = path.name.partition("-")[0]
    query = f"?profile={R4}/{kind}" if profile else ""
    address = f"/fhir/{kind}/$validate{query}"
    answer = service.post(address, path.read_bytes(), Content_Type="application/fhir+json")
    assert answer.status_code == 200, (path.name, answer.status_code)
    found = answer.json()
    assert found["resourceType"] == "OperationOutcome"
    return found["issue"]


def test_wrt_13_official_examples_are_valid_r4(service, examples):
    names = {path.name.partition("-")[0] for path in examples}
    assert names == set(KINDS)
    for path in examples:
        issues = sent(service, path, R4)
        severities = {issue["severity"] for issue in issues}
        assert ("error" in severities) is (path.name in WRONG), (path.name, issues[:2])


def test_wrt_13_official_examples_are_refused_with_a_way_out(service, examples):
    before = service.get("/fhir/Observation").json()["total"]
    checked = 0
    for path in examples:
        if not path.name.startswith((*ALWAYS, "Bundle")):
            continue
        issues = [one for one in sent(service, path) if one["severity"] == "error"]
        assert issues, path.name
        for issue in issues:
            assert issue["expression"][0].split(".")[0] in KINDS or "%" in issue["expression"][0]
            assert issue["details"]["text"]
            assert issue["diagnostics"]
        checked += 1
    assert checked > 100
    assert service.get("/fhir/Observation").json()["total"] == before
