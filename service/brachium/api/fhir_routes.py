"""The routes under /fhir with what the OpenAPI document says about them.

The general ones come last: an address that fits several routes is served by the first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.api import faults
from brachium.api.described import answer
from brachium.api.described import faults as failing
from brachium.api.fhir_requests import FORM
from brachium.api.media import FHIR_JSON
from brachium.api.routes import ALWAYS, UNCHANGED, Table

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.fhir import Fhir
    from brachium.api.fhir_history import FhirHistory
    from brachium.api.fhir_operations import FhirOperations
    from brachium.api.fhir_searches import FhirSearches

_READING = failing(
    faults.BadParameter,
    faults.NotSupported,
    faults.NotFound,
    faults.NotAcceptable,
    *ALWAYS,
    fhir=True,
)
_PAGED = {**_READING, **failing(faults.BadSearch, faults.Gone, fhir=True)}
_ONE = answer("Resource", "The resource.", FHIR_JSON)
_MANY = answer("Bundle", "The bundle.", FHIR_JSON)
_SEVERAL: dict[int | str, dict[str, Any]] = {200: _MANY, **_PAGED}
_HELD: dict[int | str, dict[str, Any]] = {200: _ONE, 304: UNCHANGED, **_READING}
_FORM = {
    "requestBody": {
        "required": False,
        "content": {FORM: {"schema": {"type": "object", "additionalProperties": True}}},
    }
}
_ITEM = "/fhir/{resource_type}/{resource_id}"


def add_fhir(
    app: FastAPI,
    fhir: Fhir,
    searches: FhirSearches,
    history: FhirHistory,
    operations: FhirOperations,
) -> None:
    """Add the reading side of FHIR."""
    table = Table(app, "FHIR")
    table.add("GET", "/fhir/metadata", fhir.metadata, "CapabilityStatement", _HELD)
    _add_operations(table, operations)
    _add_history(table, history)
    _add_searches(table, searches)
    path = f"{_ITEM}/_history/{{version}}"
    table.add("GET", path, fhir.vread, "Read a version of a resource", _HELD)
    table.add("GET", _ITEM, fhir.read, "Read a resource", _HELD)


def _add_operations(table: Table, operations: FhirOperations) -> None:
    path = "/fhir/Patient/{patient_id}/$everything"
    table.add("GET", path, operations.everything, "Everything about a patient", _SEVERAL)
    path = "/fhir/Observation/$lastn"
    table.add("GET", path, operations.lastn, "The latest findings for each code", _SEVERAL)
    document: dict[int | str, dict[str, Any]] = {200: _MANY, **_READING}
    path = "/fhir/Composition/{composition_id}/$document"
    words = "An exam as a document, by its Composition"
    table.add("GET", path, operations.composition_document, words, document)
    path = "/fhir/DiagnosticReport/{report_id}/$document"
    words = "An exam as a document, by its report"
    table.add("GET", path, operations.report_document, words, document)


def _add_history(table: Table, history: FhirHistory) -> None:
    words = "History of everything"
    table.add("GET", "/fhir/_history", history.of_everything, words, _SEVERAL)
    path = "/fhir/{resource_type}/_history"
    table.add("GET", path, history.of_type, "History of a type", _SEVERAL)
    table.add("GET", f"{_ITEM}/_history", history.of_resource, "History of a resource", _SEVERAL)


def _add_searches(table: Table, searches: FhirSearches) -> None:
    posted = {**_SEVERAL, **failing(faults.WrongMediaType, fhir=True)}
    path = "/fhir/{resource_type}/_search"
    table.add("POST", path, searches.search, "Search a type by a form", posted, _FORM)
    table.add("GET", "/fhir/{resource_type}", searches.search, "Search a type", _SEVERAL)
    path = "/fhir/Patient/{patient_id}/{resource_type}"
    words = "Search the record of a patient"
    table.add("GET", path, searches.compartment, words, _SEVERAL)
