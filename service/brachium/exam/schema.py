"""The JSON Schema (2020-12) of the exam, with the words of the tables.

The schema never refuses what :func:`brachium.exam.reading.examine` accepts under the same options.
It says what a schema can say: shapes, words, which words go together. Limits, contradictions and
real calendar dates are left to the rules.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.exam import schema_findings as findings
from brachium.exam.rule import ModelOptions
from brachium.exam.schema_parts import KEY, NOTE, SIDE, closed, maybe, words

if TYPE_CHECKING:
    from brachium.tables.load import Tables

Schema = dict[str, Any]
DIALECT = "https://json-schema.org/draft/2020-12/schema"
ID = "exam.schema.json"


def json_schema(tables: Tables, options: ModelOptions | None = None) -> Schema:
    """Return the schema of one exam; ``options`` as :func:`examine` is called with."""
    chosen = options or ModelOptions()
    exam = closed(
        {
            "identifier": _ref("identifier"),
            "status": {
                "enum": ["preliminary", "final"],
                "description": "preliminary: a draft that is not handed over yet.",
            },
            "effective": _EFFECTIVE,
            "patient": _ref("patient"),
            "examiner": _ref("party"),
            "facility": _ref("party"),
            "encounter": {"anyOf": [_ref("party"), {"type": "null"}]},
            "note": maybe(NOTE),
            "findings": {
                "type": "array",
                "minItems": 1,
                "maxItems": 2000,
                "items": _ref("finding"),
                "description": "Every finding has a key of its own and answers one question.",
            },
        },
        ("identifier", "status", "effective", "patient", "examiner", "facility", "findings"),
    )
    head = {
        "$schema": DIALECT,
        "$id": ID,
        "title": "Arm examination",
        "description": f"One examination of a patient's arms. Words of tables {tables.edition}.",
    }
    return {**head, **exam, "$defs": _definitions(tables, chosen)}


def _ref(name: str) -> Schema:
    return {"$ref": f"#/$defs/{name}"}


_EFFECTIVE: Schema = {
    "type": "string",
    "pattern": r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d{1,9})?(Z|[+-]\d{2}:\d{2})$",
    "title": "Moment of the examination",
    "description": "Date and time to the second, with the offset from UTC.",
    "examples": ["2026-03-02T10:15:00+01:00"],
}
_IDENTIFIER = closed(
    {
        "system": {
            "type": "string",
            "pattern": r"^(https?://|urn:)\S+$",
            "maxLength": 255,
            "description": "An absolute address that says whose numbers these are.",
        },
        "value": {"type": "string", "pattern": r"^\S(.*\S)?$", "maxLength": 255},
    },
    ("system", "value"),
    "A business identifier",
)
_PATIENT = closed(
    {
        "identifier": _ref("identifier"),
        "birthDate": {
            "type": "string",
            "pattern": r"^\d{4}(-\d{2}(-\d{2})?)?$",
            "description": "Date of birth; limits depend on the age.",
        },
        "sex": {"enum": ["male", "female", "other", "unknown"]},
        "dominantHand": {"enum": ["right", "left", "ambidextrous", "unknown"]},
    },
    ("identifier", "birthDate", "sex", "dominantHand"),
    "The person examined",
)


def _definitions(tables: Tables, options: ModelOptions) -> Schema:
    limiters = [option for kind, option in tables.options if kind == "limiter"]
    absent = closed(
        {
            "reason": {"enum": ["not-tested", "declined", "not-applicable", "not-examined"]},
            "because": {**words(limiters, nullable=True), "description": "What prevented it."},
        },
        ("reason",),
        "Why there is no result",
    )
    kinds = {
        "inspection": findings.sign(tables, "inspection"),
        "palpation": findings.sign(tables, "palpation"),
        "motion": findings.motion(tables, options),
        "strength": findings.strength(tables, options),
        "part": findings.part(tables),
    }
    return {
        "identifier": _IDENTIFIER,
        "patient": _PATIENT,
        "party": closed({"identifier": _ref("identifier")}, ("identifier",), "By identifier"),
        "absent": absent,
        "finding": {
            "title": "Finding",
            "type": "object",
            "properties": {"kind": {"enum": list(kinds)}, "key": KEY, "side": SIDE},
            "required": ["kind", "key", "side", "joint"],
            "allOf": [
                {
                    "if": {"properties": {"kind": {"const": kind}}, "required": ["kind"]},
                    "then": _ref(kind),
                }
                for kind in kinds
            ],
        },
        **kinds,
    }
