"""Every route with what the OpenAPI document says about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import FastAPI
from starlette.responses import Response

from brachium.api import described, faults
from brachium.api.described import answer, body
from brachium.api.described import faults as failing
from brachium.api.media import CSV, FHIR_JSON, JSON, SCHEMA_JSON, TEXT
from brachium.api.shapes import ref

if TYPE_CHECKING:
    from collections.abc import Callable

    from brachium.api.exams import Reception
    from brachium.api.exports import Exports
    from brachium.api.pages import Pages

TAGS = [
    {"name": "Exams in", "description": "Post, correct, close and withdraw an exam."},
    {"name": "Exams out", "description": "Read what was stored, as JSON and as FHIR bundles."},
    {"name": "FHIR", "description": "The stored resources and the tables, to read (FHIR R4)."},
    {"name": "FHIR in", "description": "Exams as FHIR transactions and forms (FHIR R4)."},
    {"name": "FHIR in bulk", "description": "Files of everything (Bulk Data Access 2.0)."},
    {"name": "Logging in", "description": "How a client gets an access token (SMART)."},
    {"name": "Service", "description": "What can be recorded, by which rules, and how it is."},
]
_PLAIN = {"description": "The JSON object.", "content": {JSON: {"schema": {"type": "object"}}}}
UNCHANGED = {"description": "The client has it already (If-None-Match)."}
ALWAYS = (faults.TooLarge, faults.Unforeseen)
_TAKING = (faults.NotJson, faults.BadParameter, faults.WrongMediaType, faults.Refused)
_IF_MATCH: dict[str, Any] = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "schema": {"type": "string"},
    "description": "The ETag of the version that is changed.",
}


class Table:
    """Adds routes that answer with bytes, so that the framework turns nothing into JSON itself."""

    def __init__(self, app: FastAPI, tag: str) -> None:
        self._app = app
        self._tag = tag

    def add(
        self,
        method: str,
        path: str,
        endpoint: Callable[..., Any],
        summary: str,
        responses: dict[int | str, dict[str, Any]],
        extra: dict[str, Any] | None = None,
        status: int = 200,
    ) -> None:
        """Add one route; its description is the docstring of the endpoint."""
        self._app.add_api_route(
            path,
            endpoint,
            methods=[method],
            summary=summary,
            responses=responses,
            openapi_extra=extra,
            status_code=status,
            tags=[self._tag],
            response_model=None,
            # nothing is said of media types beside what stands in the responses
            response_class=Response,
        )


def add_reception(app: FastAPI, reception: Reception, example: Any) -> None:  # noqa: ANN401 - JSON
    """Add the operations that bring exams in or change them."""
    table = Table(app, "Exams in")
    receipt = described.either("Receipt", "Stored; Prefer: return=representation gives the bundle.")
    same = {
        "description": "Stored before with the same content, or the preview of a dry run.",
        "content": {
            JSON: {"schema": {"anyOf": [ref("Receipt"), ref("Preview")]}},
            FHIR_JSON: {"schema": ref("Bundle")},
        },
    }
    posting = failing(*_TAKING, faults.Conflict, faults.Unavailable, *ALWAYS)
    table.add(
        "POST",
        "/exams",
        reception.post,
        "Take one exam in",
        {201: receipt, 200: same, **posting},
        body("Exam", example),
        201,
    )
    _add_changes(table, reception, receipt, example)


def _add_changes(
    table: Table,
    reception: Reception,
    receipt: dict[str, Any],
    example: Any,  # noqa: ANN401 - JSON
) -> None:
    changing = failing(
        faults.BadParameter,
        faults.NotFound,
        faults.Refused,
        faults.Conflict,
        faults.Stale,
        faults.Unconditional,
        faults.Unavailable,
        *ALWAYS,
    )
    with_body = {**changing, **failing(faults.NotJson, faults.BadParameter, faults.WrongMediaType)}
    condition = {"parameters": [_IF_MATCH]}
    correction = {"reason": "A value was read wrongly.", "exam": example}
    table.add(
        "PUT",
        "/exams/{exam_id}",
        reception.put,
        "Correct an exam",
        {200: receipt, **with_body},
        {**body("Correction", correction), **condition},
    )
    withdrawal = {"reason": "Entered for the wrong person."}
    table.add(
        "POST",
        "/exams/{exam_id}/withdrawal",
        reception.withdraw,
        "Withdraw an exam",
        {200: receipt, **with_body},
        {**body("Withdrawal", withdrawal), **condition},
    )
    table.add(
        "POST",
        "/exams/{exam_id}/close",
        reception.close,
        "Close a draft",
        {200: receipt, **changing},
        condition,
    )


def add_exports(app: FastAPI, exports: Exports) -> None:
    """Add the operations that read exams."""
    table = Table(app, "Exams out")
    reading = failing(faults.BadParameter, faults.NotFound, faults.NotAcceptable, *ALWAYS)
    exam = answer("StoredExam", "The exam as it was posted, its status, problems and links.")
    table.add(
        "GET",
        "/exams/{exam_id}",
        exports.exam,
        "Read an exam",
        {200: exam, 304: UNCHANGED, **reading},
    )
    versions = answer("Versions", "Every version, newest first.")
    path = "/exams/{exam_id}/versions"
    table.add("GET", path, exports.versions, "List versions", {200: versions, **reading})
    bundle = answer("Bundle", "The bundle; Content-Digest is its sha-256.", FHIR_JSON)
    path = "/exams/{exam_id}/bundle"
    table.add("GET", path, exports.bundle, "Get a bundle", {200: bundle, **reading})
    codings = answer("Codings", "One row for each coding.")
    codings["content"][CSV] = {"schema": {"type": "string"}}
    path = "/exams/{exam_id}/codings"
    table.add("GET", path, exports.codings, "List the codings used", {200: codings, **reading})
    _add_judgements(table, exports, reading)


def _add_judgements(
    table: Table, exports: Exports, reading: dict[int | str, dict[str, Any]]
) -> None:
    judged = answer("Assessment", "Everything that was judged and worked out.")
    path = "/exams/{exam_id}/assessment"
    table.add("GET", path, exports.assessment, "Read the assessment", {200: judged, **reading})
    text = {"description": "The account.", "content": {TEXT: {"schema": {"type": "string"}}}}
    path = "/exams/{exam_id}/note"
    table.add("GET", path, exports.note, "Read the account in words", {200: text, **reading})
    chain = answer("Explanation", "The whole chain behind one finding.")
    path = "/exams/{exam_id}/findings/{key}/explanation"
    table.add("GET", path, exports.explanation, "Explain one finding", {200: chain, **reading})


def add_pages(app: FastAPI, pages: Pages) -> None:
    """Add what needs no exam."""
    table = Table(app, "Service")
    held: dict[int | str, dict[str, Any]] = {200: _PLAIN, 304: UNCHANGED, **failing(*ALWAYS)}
    schema = {"description": "JSON Schema.", "content": {SCHEMA_JSON: {"schema": {}}}}
    html = {"description": "HTML.", "content": {"text/html": {"schema": {"type": "string"}}}}
    table.add("GET", "/", pages.index, "Index and caution", held)
    table.add("GET", "/catalogue", pages.catalogue, "What can be recorded", held)
    path = "/schema/exam"
    table.add("GET", path, pages.schema, "The shape of an exam", {**held, 200: schema})
    table.add("GET", "/rules", pages.rules, "Every rule and every code of a problem", held)
    both = {"text/html": {"schema": {"type": "string"}}, JSON: {"schema": {"type": "object"}}}
    one = {"description": "HTML for a browser, else JSON.", "content": both}
    missing = failing(faults.BadParameter, faults.NotFound, *ALWAYS)
    why = "Why a code is given, and a request that passes"
    table.add("GET", "/rules/{code}", pages.rule, why, {200: one, **missing})
    table.add("GET", "/openapi.json", pages.openapi, "This description as data", held)
    table.add("GET", "/docs", pages.docs, "This description as a page", {**held, 200: html})
    healthy: dict[int | str, dict[str, Any]] = {200: _PLAIN, **failing(*ALWAYS)}
    table.add("GET", "/live", pages.live, "Does the process answer", healthy)
    unready = {**healthy, **failing(faults.Unavailable)}
    table.add("GET", "/ready", pages.ready, "Can exams be stored", unready)
