"""A refused parameter is told with what it may be, and never with what was sent."""

from __future__ import annotations

import pytest
from tests.api.serving import raw_example

REFUSED = [
    ("bundle?type=batch7", "'collection', 'transaction' or 'document'"),
    ("bundle?patient-ref=batch7", "'entry', 'literal', 'conditional' or 'identifier'"),
    ("bundle?patient-ref=literal", "type=transaction"),
    ("bundle?side=batch7", "'both', 'site' or 'code'"),
    ("bundle?snomed=batch7", "'on' or 'off'"),
    ("bundle?not-tested=batch7", "'cancelled' or 'final'"),
    ("bundle?version=0", "1 or more"),
    ("bundle?version=9999999999", "999999999 or less"),
    ("bundle?version=batch7", "a whole number"),
    (f"bundle?version={'7' * 5000}", "a whole number"),
    ("bundle?batch7=1", "version, type, patient-ref, side, snomed, not-tested"),
    ("bundle?version=1&version=2", "once"),
    ("codings?format=batch7", "'json' or 'csv'"),
    ("versions?batch7=1", "parameters: none"),
]


@pytest.mark.parametrize(("query", "allowed"), REFUSED)
def test_what_a_parameter_of_an_exam_may_be(service, stored, query, allowed):
    answer = service.get(f"/exams/{stored['id']}/{query}")
    assert answer.status_code == 400
    (problem,) = answer.json()["problems"]
    assert allowed in problem["remedy"]
    assert "batch7" not in problem["remedy"] + problem["message"]


def test_what_dry_run_may_be(service):
    answer = service.post("/exams?dry-run=perhaps", raw_example("draft"))
    assert "true or false" in answer.json()["problems"][0]["remedy"]
    answer = service.post("/exams?dryrun=true", raw_example("draft"))
    assert "parameters: dry-run." in answer.json()["problems"][0]["remedy"]


@pytest.mark.parametrize(
    ("query", "allowed"),
    [
        ("Observation?_count=many", "a whole number"),
        ("Observation?_revinclude=Patient:x", "Provenance:target"),
        ("Provenance?_revinclude=Provenance:target", "not with this type"),
        ("Observation?_page=a|b&_count=2", "the link alone"),
        ("Observation?patient=Group/1", "of Patient"),
        ("Observation?identifier=|", "system|code"),
        ("Observation?identifier:in=s|x", "identifier with nothing behind it, or :missing, :not"),
        ("Patient/x?colour=red", "parameters: _format, _pretty, _summary, _elements."),
    ],
)
def test_what_a_parameter_of_a_search_may_be(service, query, allowed):
    answer = service.get(f"/fhir/{query}")
    assert answer.status_code == 400
    assert allowed in answer.json()["issue"][0]["diagnostics"]


def test_what_can_be_followed(service):
    answer = service.get("/patients/p/trend?joint=knee")
    joints = sorted(service.parts.tables.joints)
    assert f"Allowed: {', '.join(joints)}." in answer.json()["problems"][0]["remedy"]
    answer = service.get("/patients/p/trend?joint=El%20bow")
    assert "text that fits" in answer.json()["problems"][0]["remedy"]
