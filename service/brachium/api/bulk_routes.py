"""The routes of bulk export, and what they are carried out with."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import orjson

from brachium.api import bulk_faults, faults, login_faults
from brachium.api.answers import outcome
from brachium.api.bulk import JOBS, BulkExport
from brachium.api.bulk_files import NDJSON
from brachium.api.bulk_filters import TypeFilters
from brachium.api.described import body
from brachium.api.described import faults as failing
from brachium.api.media import FHIR_JSON, JSON
from brachium.api.partial import part_of
from brachium.api.routes import ALWAYS, UNCHANGED, Table
from brachium.api.whose import serving
from brachium.bulk import Bulk
from brachium.bulk.carrying import Tools
from brachium.bulk.folders import Folders

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.searching import Searching
    from brachium.problems import Problem
    from brachium.wiring import Parts

_PARAMETERS: dict[str, Any] = {
    "resourceType": "Parameters",
    "parameter": [{"name": "_type", "valueString": "Patient,Observation"}],
}
_QUERY = (
    ("_outputFormat", "application/fhir+ndjson, application/ndjson or ndjson."),
    ("_since", "An instant: only what was stored then or later."),
    ("_type", "Types with commas between them; all that the token covers when left out."),
    ("_typeFilter", "Searches such as Observation?status=final with commas between them."),
    ("_elements", "Members to keep, beside those that are mandatory."),
    ("includeAssociatedData", "LatestProvenanceResources or RelevantProvenanceResources."),
)


def exporting(parts: Parts, searching: Searching) -> Bulk:
    """Return the export jobs of a service."""
    filters = TypeFilters(searching)
    folders = Folders(parts.settings.exports_folder)
    told = partial(_outcome, canonical=parts.settings.canonical)
    tools = Tools(parts.store, parts.jobs, folders, filters.criteria, shaped, told, serving)
    return Bulk(tools, parts.clock, parts.settings.export_hours)


def shaped(text: bytes, kind: str, elements: tuple[str, ...]) -> bytes:
    """Return a resource with some of its members, and those that it always has."""
    return part_of(text, kind, "false", elements)


def _outcome(problem: Problem, canonical: str) -> bytes:
    return orjson.dumps(outcome([problem], canonical))


def add_bulk(app: FastAPI, bulk: BulkExport) -> None:
    """Add the operations of bulk export."""
    table = Table(app, "FHIR in bulk")
    _add_kick_off(table, bulk)
    held = failing(faults.NotFound, faults.Unavailable, *ALWAYS, fhir=True)
    job = f"{JOBS}/{{job_id}}"
    manifest = {"description": "The manifest.", "content": {JSON: {"schema": {"type": "object"}}}}
    running = {"description": "It runs; X-Progress says how far it is."}
    asking = failing(bulk_faults.PolledTooFast, bulk_faults.ExportFailed, fhir=True)
    state: dict[int | str, dict[str, Any]] = {200: manifest, 202: running, 304: UNCHANGED}
    table.add("GET", job, bulk.status, "How far an export is", {**state, **held, **asking})
    gone = {"description": "It is deleted."}
    table.add("DELETE", job, bulk.delete, "Delete an export", {202: gone, **held}, status=202)
    lines = {"description": "The lines.", "content": {NDJSON: {"schema": {"type": "string"}}}}
    parts: dict[int | str, dict[str, Any]] = {200: lines, 206: lines, 304: UNCHANGED, **held}
    parts |= failing(login_faults.Forbidden, bulk_faults.NoSuchRange, fhir=True)
    table.add("GET", f"{job}/{{file_name}}", bulk.file, "A file of an export", parts)


def _add_kick_off(table: Table, bulk: BulkExport) -> None:
    taking = (faults.BadParameter, faults.NotFound, login_faults.Forbidden)
    refused = failing(*taking, bulk_faults.TooManyJobs, faults.Unavailable, *ALWAYS, fhir=True)
    accepted = {"description": "Content-Location says where to ask how far it is."}
    posted = {**refused, **failing(faults.NotJson, faults.WrongMediaType, fhir=True)}
    query = {"parameters": [_parameter(*one) for one in _QUERY]}
    for path, endpoint, words in (
        ("/fhir/$export", bulk.system, "Export everything"),
        ("/fhir/Patient/$export", bulk.patients, "Export the records of patients"),
        ("/fhir/Group/{group_id}/$export", bulk.group, "Export the records of a group"),
    ):
        table.add("GET", path, endpoint, words, {202: accepted, **refused}, query, 202)
        given = body("Resource", _PARAMETERS, FHIR_JSON)
        table.add("POST", path, endpoint, words, {202: accepted, **posted}, given, 202)


def _parameter(name: str, words: str) -> dict[str, Any]:
    return {"name": name, "in": "query", "description": words, "schema": {"type": "string"}}
