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
