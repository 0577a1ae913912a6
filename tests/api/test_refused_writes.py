"""What is not written resource by resource, and the way out (matrix WRT-11)."""

from __future__ import annotations

import pytest
from tests.api.serving import FHIR_JSON
from tests.api.transactions import code, issues

TYPES = ["Observation", "DiagnosticReport", "Patient", "Practitioner", "Organization", "Provenance"]


@pytest.mark.parametrize("kind", TYPES)
def test_wrt_11_delete_is_refused_and_points_to_entered_in_error(service, stored, kind):
    assert stored
    resource = service.get(f"/fhir/{kind}").json()["entry"][0]["resource"]
    path = f"/fhir/{kind}/{resource['id']}"
    for target in (path, f"/fhir/{kind}?identifier=a|b"):
        answer = service.ask("DELETE", target)
        assert answer.status_code == 405
        assert "DELETE" not in answer.headers["allow"]
        (issue,) = issues(answer)
        assert (issue["code"], code(issue)) == ("not-supported", "delete-refused")
        assert "entered-in-error" in issue["diagnostics"]
    assert service.get(path).json() == resource


@pytest.mark.parametrize("kind", TYPES)
@pytest.mark.parametrize(
    ("method", "path"),
    [("POST", ""), ("PUT", "/1"), ("PUT", "?identifier=a|b"), ("PATCH", "/1")],
)
@pytest.mark.parametrize("body", [b"", b"{", b'{"resourceType":"Observation","status":"final"}'])
def test_wrt_11_single_resources_are_refused_with_what_to_do_instead(
    service, kind, method, path, body
):
    answer = service.ask(
        method, f"/fhir/{kind}{path}", content=body, headers={"Content-Type": FHIR_JSON}
    )
    assert answer.status_code == 405
    assert method not in answer.headers["allow"].split(", ")
    (issue,) = issues(answer)
    assert (issue["code"], code(issue)) == ("not-supported", "write-refused")
    for way in ("/exams", "transaction", "QuestionnaireResponse"):
        assert way in issue["diagnostics"]
    assert issue["expression"] == [kind]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_types_that_are_not_served_are_404(service, method):
    for path in ("/fhir/Condition", "/fhir/Nonsense/1", "/fhir/Bundle"):
        answer = service.ask(method, path, content=b"{}")
        assert answer.status_code == 404
        assert issues(answer)[0]["code"] in ("not-supported", "not-found")
