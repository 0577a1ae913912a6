"""What the OpenAPI document says about trends."""

from __future__ import annotations

from brachium.api.shapes import COUNT, TEXT, Schema, list_of, object_of, ref
from brachium.assess.change import VERDICTS, WHYS
from brachium.trend import UNREADABLE, WITHDRAWN

_NUMBER: Schema = {"type": "number"}
_TRUTH: Schema = {"type": "boolean"}
_URL: Schema = {"type": "string", "format": "uri"}
_VERSION: Schema = {"type": "integer", "minimum": 1}
_PLACE: dict[str, Schema] = {
    "exam": {"type": "string", "description": "Id of the exam."},
    "finding": {"type": "string", "description": "Key, with /left or /right."},
}
_GAP = object_of({**_PLACE, "said": {"type": "string", "description": "Why there is no value."}})
_CHANGE = object_of(
    {
        "verdict": {"type": "string", "enum": list(VERDICTS)},
        "sentence": TEXT,
        "provisional": {"type": "boolean", "description": "One of the exams is preliminary."},
        "rule": TEXT,
        "ruleVersion": TEXT,
        "sources": {**list_of(TEXT), "description": "Keys of the table of sources."},
        "evidence": TEXT,
        "used": list_of(object_of({**_PLACE, "value": TEXT})),
    },
    delta={"type": "number", "description": "Later minus earlier, in the unit of the series."},
    detectable={
        "type": "number",
        "description": "The largest change that does not count yet; grades, distances and forces "
        "say in the sentence whether it counts itself.",
    },
    why={
        **list_of({"type": "string", "enum": list(WHYS)}),
        "description": "Why it is not comparable.",
    },
)
_POINT = object_of(
    {
        **_PLACE,
        "said": {"type": "string", "description": "The result as recorded."},
        "value": {
            "type": "number",
            "description": "In the unit of the series; an end of extension is flexion-positive, a "
            "grade the place on its scale, a force the mean of its trials.",
        },
    },
    trials=COUNT,
    sincePrevious=ref("Change"),
    sinceFirst=ref("Change"),
    otherwiseBefore={
        **ref("Change"),
        "description": "A later exam than the previous one measured it in another way.",
    },
)
_SERIES = object_of(
    {
        "name": TEXT,
        "kind": {"type": "string", "enum": ["motion", "strength"]},
        "joint": TEXT,
        "side": TEXT,
        "unit": {"type": "string", "description": "Empty for a grade."},
        "points": list_of(_POINT),
        "gaps": list_of(_GAP),
    },
    **dict.fromkeys(("digit", "motion", "test", "mode", "armPosition", "method", "position"), TEXT),
)
_EXAM = object_of(
    {
        "id": TEXT,
        "version": _VERSION,
        "status": TEXT,
        "preliminary": _TRUTH,
        "effective": TEXT,
        "link": _URL,
    }
)
_LEFT_OUT = object_of(
    {
        "id": TEXT,
        "version": _VERSION,
        "status": TEXT,
        "why": {"type": "string", "enum": [WITHDRAWN, UNREADABLE]},
        "link": _URL,
    }
)

SCHEMAS: dict[str, Schema] = {
    "Change": _CHANGE,
    "Trend": object_of(
        {
            "patient": {"type": "string", "description": "Id of the Patient resource."},
            "edition": TEXT,
            "exams": {**list_of(_EXAM), "description": "Those that count, in order of time."},
            "leftOut": list_of(_LEFT_OUT),
            "notUnderstood": {
                **list_of(object_of(_PLACE)),
                "description": "Findings with words that the present tables do not have.",
            },
            "series": list_of(_SERIES),
        }
    ),
    "PatientAsked": object_of({"identifier": ref("Identifier")}),
}
