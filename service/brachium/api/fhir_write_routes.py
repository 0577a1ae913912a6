"""The routes of the writing side of FHIR."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.api import faults
from brachium.api.described import answer, body
from brachium.api.described import faults as failing
from brachium.api.media import FHIR_JSON
from brachium.api.routes import Table

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.fhir_forms import FhirForms
    from brachium.api.fhir_write import FhirWrite

_BATCH: dict[str, Any] = {
    "resourceType": "Bundle",
    "type": "batch",
    "entry": [{"request": {"method": "GET", "url": "metadata"}}],
}
_TAKING = (
    faults.NotJson,
    faults.BadParameter,
    faults.Conflict,
    faults.Stale,
    faults.WrongMediaType,
    faults.TooCostly,
    faults.TooLarge,
    faults.Refused,
    faults.Unavailable,
    faults.Unforeseen,
)


def add_fhir_write(app: FastAPI, fhir: FhirWrite) -> None:
    """Add the operations that may store something."""
    table = Table(app, "FHIR in")
    done = answer("Bundle", "What became of each entry, in their order.", FHIR_JSON)
    answers = {200: done, **failing(*_TAKING, fhir=True)}
    posted = body("Bundle", _BATCH, FHIR_JSON)
    for path, summary in (("/fhir", "Process a transaction or batch"), ("/fhir/", "The same")):
        table.add("POST", path, fhir.process, summary, answers, posted)


def add_fhir_forms(app: FastAPI, forms: FhirForms, example: Any) -> None:  # noqa: ANN401 - JSON
    """Add create, update and extraction of filled-in forms; ``example`` is one of them."""
    table = Table(app, "FHIR in")
    faulty = failing(*_TAKING, faults.Several, faults.IdMismatch, fhir=True)
    stored = answer("Resource", "Stored; Prefer says how much of it comes back.", FHIR_JSON)
    same = answer("Resource", "A new version, or stored before with the same content.", FHIR_JSON)
    posted = body("Resource", example, FHIR_JSON)
    path = "/fhir/QuestionnaireResponse"
    both = {200: same, 201: stored, **faulty}
    optional = {"parameters": [_header("If-None-Exist", "identifier=system|value")]}
    table.add(
        "POST", path, forms.create, "Take in a filled-in form", both, {**posted, **optional}, 201
    )
    version = {"parameters": [_header("If-Match", "The ETag of the version that is changed.")]}
    summary = "Update or create by identifier"
    table.add("PUT", path, forms.put, summary, both, {**posted, **version})
    changed = {200: same, **faulty, **failing(faults.WrongMethod, fhir=True)}
    item = f"{path}/{{resource_id}}"
    table.add("PUT", item, forms.update, "Correct by the form", changed, {**posted, **version})
    bundle = answer("Bundle", "The transaction; nothing is stored.", FHIR_JSON)
    told = {200: bundle, **faulty}
    table.add("POST", f"{path}/$extract", forms.extract, "Extract from a form", told, posted)


def _header(name: str, words: str) -> dict[str, Any]:
    return {"name": name, "in": "header", "schema": {"type": "string"}, "description": words}
