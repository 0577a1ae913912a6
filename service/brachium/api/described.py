"""What the OpenAPI document says about bodies and answers (OpenAPI 3.1, JSON Schema 2020-12).

The service reads and writes bytes itself, so the framework cannot know the shapes: they stand here,
and a test compares them with real answers.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from brachium.api import judged, shapes, trend_shapes
from brachium.api.faults import STATUSES, Fault
from brachium.api.media import FHIR_JSON, JSON, PROBLEM
from brachium.api.shapes import Schema, ref
from brachium.formats.codings import HEADER
from brachium.formats.lossless import Json

_TEXT = shapes.TEXT
_URL: Schema = {"type": "string", "format": "uri"}
_COUNT = shapes.COUNT
_REASON: Schema = {"type": "string", "maxLength": 1000}
_STATUS: Schema = {
    "type": "string",
    "enum": ["preliminary", "final", "amended", "corrected", "entered-in-error"],
}


_object = shapes.object_of


def _list_of(name: str) -> Schema:
    return shapes.list_of(ref(name))


_FHIR_OBJECT: Schema = {"type": "object", "required": ["resourceType"]}
_STORED_LINKS = ("report", "collection", "transaction", "document", "codings", "assessment", "note")
LINKS = ("self", "versions", *_STORED_LINKS)
SCHEMAS: dict[str, Schema] = {
    "FlatTables": shapes.list_of(
        _object(
            {
                "name": _TEXT,
                "url": _URL,
                "columns": shapes.list_of(_object({"name": _TEXT, "type": _TEXT})),
                "view": {"type": ["object", "null"], "description": "ViewDefinition"},
            }
        )
    ),
    "Identifier": _object({"system": _TEXT, "value": _TEXT}),
    "Problem": _object(
        {
            "code": _TEXT,
            "severity": {"type": "string", "enum": ["error", "warning", "information"]},
            "pointer": {"type": "string", "description": "RFC 6901, into the posted exam"},
            "message": _TEXT,
            "remedy": _TEXT,
            "source": _TEXT,
            "issueType": {"type": "string", "description": "R4 issue-type"},
        }
    ),
    "ProblemDetails": _object(
        {
            "type": _URL,
            "title": _TEXT,
            "status": {"type": "integer"},
            "detail": _TEXT,
            "problems": _list_of("Problem"),
        },
        parameter=_TEXT,
        requestId=_TEXT,
    ),
    "OperationOutcome": {**_FHIR_OBJECT, "description": "FHIR R4 OperationOutcome"},
    "Bundle": {**_FHIR_OBJECT, "description": "FHIR R4 Bundle"},
    "Resource": {**_FHIR_OBJECT, "description": "A FHIR R4 resource"},
    "Links": _object(dict.fromkeys(LINKS, _URL)),
    "Receipt": _object(
        {
            "id": _TEXT,
            "identifier": ref("Identifier"),
            "version": {"type": "integer", "minimum": 1},
            "status": _STATUS,
            "recorded": _TEXT,
            "findings": _COUNT,
            "links": ref("Links"),
            "problems": _list_of("Problem"),
            "assessment": ref("Assessment"),
        }
    ),
    "Preview": _object(
        {
            "accepted": {"const": True},
            "findings": _COUNT,
            "outcome": ref("OperationOutcome"),
            "bundle": ref("Bundle"),
            "problems": _list_of("Problem"),
            "assessment": ref("Assessment"),
        }
    ),
    "Version": _object(
        {
            "version": {"type": "integer", "minimum": 1},
            "status": _STATUS,
            "recorded": _TEXT,
            "reason": _TEXT,
            "digest": _TEXT,
            "edition": _TEXT,
            "links": _object({"self": _URL, "collection": _URL}),
        }
    ),
    "Versions": _object({"id": _TEXT, "versions": _list_of("Version")}),
    "Coding": _object(dict.fromkeys(HEADER, _TEXT)),
    "Codings": _list_of("Coding"),
    "StoredExam": _object(
        {
            "id": _TEXT,
            "version": {"type": "integer", "minimum": 1},
            "status": _STATUS,
            "recorded": _TEXT,
            "reason": _TEXT,
            "digest": _TEXT,
            "edition": _TEXT,
            "exam": ref("Exam"),
            "problems": _list_of("Problem"),
            "assessment": ref("Assessment"),
            "links": {"type": "object", "additionalProperties": _URL},
        }
    ),
    **judged.SCHEMAS,
    **trend_shapes.SCHEMAS,
    "Correction": _object({"exam": ref("Exam")}, reason=_REASON),
    "Withdrawal": _object({"reason": _REASON}),
}


def body(name: str, example: Json, media: str = JSON) -> dict[str, Any]:
    """Return ``openapi_extra`` for an operation that reads JSON of schema ``name``."""
    content = {"schema": ref(name), "examples": {"example": {"value": example}}}
    return {"requestBody": {"required": True, "content": {media: content}}}


def answer(name: str, words: str, media: str = JSON) -> dict[str, Any]:
    """Return one documented answer with a body of schema ``name``."""
    return {"description": words, "content": {media: {"schema": ref(name)}}}


def either(name: str, words: str) -> dict[str, Any]:
    """Return an answer that is JSON of schema ``name``, or a Bundle where the client prefers it."""
    content = {JSON: {"schema": ref(name)}, FHIR_JSON: {"schema": ref("Bundle")}}
    return {"description": words, "content": content}


def faults(*kinds: type[Fault], fhir: bool = False) -> dict[int | str, dict[str, Any]]:
    """Return the documented error answers; under ``fhir`` they are always OperationOutcomes."""
    outcome = {FHIR_JSON: {"schema": ref("OperationOutcome")}}
    content = outcome if fhir else {PROBLEM: {"schema": ref("ProblemDetails")}, **outcome}
    rows: dict[int | str, list[str]] = {}
    for kind in kinds:
        rows.setdefault(STATUSES[kind].status, []).append(STATUSES[kind].title)
    return {
        status: {"description": " ".join(titles), "content": content}
        for status, titles in rows.items()
    }


def components(exam_schema: Mapping[str, Any]) -> dict[str, Schema]:
    """Return every schema of the document, with the exam's own JSON Schema as ``Exam``.

    References inside that schema point at its root and are moved to where it now stands.
    """
    return {**SCHEMAS, "Exam": _moved(exam_schema)}


def _moved(value: Json) -> Json:
    if isinstance(value, Mapping):
        return {
            key: f"#/components/schemas/Exam{part[1:]}"
            if key == "$ref" and isinstance(part, str) and part.startswith("#")
            else _moved(part)
            for key, part in value.items()
            if key not in ("$schema", "$id")
        }
    return [_moved(part) for part in value] if isinstance(value, list) else value
