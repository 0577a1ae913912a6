"""Nothing of HL7's definitions is left out in silence: rules and bindings are judged or named."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests.oracles import bindings, fhirpath_rules, schema
from tests.oracles.definitions import structure
from tests.oracles.fhirpath_rules import NATIVE, NOT_JUDGED
from tests.oracles.narrative import html_faults

pytestmark = pytest.mark.usefixtures("fhir_definitions")

TYPES = (
    "Bundle",
    "Patient",
    "Practitioner",
    "Organization",
    "Observation",
    "DiagnosticReport",
    "Provenance",
    "Composition",
    "OperationOutcome",
    "CapabilityStatement",
    "CodeSystem",
    "ValueSet",
    "ConceptMap",
    "AuditEvent",
)


def places() -> Iterator[schema.Child]:
    """Yield every element that can occur in the resources we put out."""
    todo, seen = list(TYPES), set(TYPES)
    while todo:
        for child in schema.children(todo.pop()).values():
            yield child
            if child.place not in seen and child.type != "Resource":
                seen.add(child.place)
                todo.append(child.place)


def rules() -> dict[str, str]:
    """Return the expression of every rule that those elements and their types carry."""
    found = {}
    for child in (*places(), *(schema.Child(name, name, name, 1, 1) for name in TYPES)):
        for rule in (*child.constraints, *schema.root_constraints(child.place)):
            found[rule["key"]] = rule.get("expression", "")
    return found


def test_obs_19_every_rule_is_evaluated_or_named() -> None:
    found = rules()
    assert {"obs-3", "obs-6", "obs-7", "bdl-1", "bdl-7", "per-1", "dom-3"} <= found.keys()
    for key, expression in found.items():
        if key not in NATIVE and key not in NOT_JUDGED:
            assert callable(fhirpath_rules.compiled(expression)), key


def test_obs_19_no_rule_is_named_that_does_not_exist() -> None:
    assert (NATIVE.keys() | NOT_JUDGED.keys()) <= rules().keys()


def test_obs_15_every_required_binding_is_listed_or_named() -> None:
    bound = {child.binding.split("|")[0] for child in places() if child.binding}
    listed = {url for url in bound if bindings.expansion(url)}
    assert bound - listed <= bindings.NOT_LISTED.keys()
    assert "http://hl7.org/fhir/ValueSet/observation-status" in listed


@pytest.mark.parametrize(
    ("name", "key"),
    [("Observation", "subject"), ("Observation", "valueQuantity"), ("Bundle", "entry")],
)
def test_obs_19_the_schema_knows_elements(name: str, key: str) -> None:
    assert structure(name) is not None
    assert key in schema.children(name)


@pytest.mark.parametrize(
    ("inside", "good"),
    [
        ("<p>seen</p>", True),
        ("<table><tr><td>150&#176;</td></tr></table>", True),
        ("<a href='https://example.org/'>link</a>", True),
        ("", False),
        ("<script>x</script>", False),
        ("<iframe src='#a'></iframe>", False),
        ("<p onload='x'>seen</p>", False),
        ("<a href='javascript:alert(1)'>link</a>", False),
        ("<form><input name='a'/></form>", False),
        ("<p>not closed", False),
    ],
)
def test_obs_18_only_the_allowed_xhtml_passes(inside: str, *, good: bool) -> None:
    div = f'<div xmlns="http://www.w3.org/1999/xhtml">{inside}</div>'
    assert (html_faults(div) == []) is good
