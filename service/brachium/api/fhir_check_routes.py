"""Routes of $validate and of the operations on code systems, value sets and maps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.api import faults
from brachium.api.described import answer
from brachium.api.described import faults as failing
from brachium.api.media import FHIR_JSON
from brachium.api.routes import ALWAYS, Table
from brachium.api.shapes import ref

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.fhir_terms import FhirTerms
    from brachium.api.fhir_validate import FhirValidate

_FAILING = failing(
    faults.BadParameter,
    faults.NotJson,
    faults.NotSupported,
    faults.NotFound,
    faults.NotAcceptable,
    faults.WrongMediaType,
    *ALWAYS,
    fhir=True,
)
_BODY: dict[str, Any] = {
    "requestBody": {"required": False, "content": {FHIR_JSON: {"schema": ref("Resource")}}}
}


def add_checks(app: FastAPI, validate: FhirValidate, terms: FhirTerms) -> None:
    """Add the routes; they come before the general ones."""
    table = Table(app, "FHIR")
    told: dict[int | str, dict[str, Any]] = {
        200: answer("OperationOutcome", "What there is to say.", FHIR_JSON),
        **_FAILING,
    }
    path = "/fhir/{resource_type}/$validate"
    table.add("POST", path, validate.validate, "Judge a resource, store nothing", told, _BODY)
    _add_terms(table, terms)


def _add_terms(table: Table, terms: FhirTerms) -> None:
    found: dict[int | str, dict[str, Any]] = {
        200: answer("Resource", "Parameters, or the expanded value set.", FHIR_JSON),
        **_FAILING,
    }
    operations = (
        ("CodeSystem", "lookup", terms.lookup, "What is known of a code", False),
        ("CodeSystem", "validate-code", terms.code_in_system, "Is a code in a code system", True),
        ("ValueSet", "validate-code", terms.code_in_values, "Is a code in a value set", True),
        ("ValueSet", "expand", terms.expand, "The codes of a value set", True),
        ("ConceptMap", "translate", terms.translate, "What a code is called elsewhere", True),
    )
    for kind, name, endpoint, summary, instance in operations:
        places = (f"/fhir/{kind}", f"/fhir/{kind}/{{resource_id}}")[: 1 + instance]
        for place in places:
            path = f"{place}/${name}"
            table.add("GET", path, endpoint, summary, found)
            table.add("POST", path, endpoint, summary, found, _BODY)
