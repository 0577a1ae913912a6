"""What the OpenAPI document says about assessments and explanations."""

from __future__ import annotations

from brachium.api.shapes import COUNT, TEXT, Schema, list_of, maybe, object_of, ref

_NUMBER: Schema = {"type": "number"}
_YES_NO: Schema = {"type": "boolean"}
_TEXTS = list_of(TEXT)
_KIND: Schema = {
    "type": "string",
    "enum": ["range", "difference", "computed", "prompt", "weakness"],
}
_EVIDENCE: Schema = {
    "type": "string",
    "enum": ["seen", "secondary", "memory", "own"],
    "description": "How the figures are known; own is a convention of this service.",
}
_RULED: dict[str, Schema] = {"sentence": TEXT, "rule": TEXT, "ruleVersion": TEXT}

_HANDBOOK = object_of(
    {"fullRange": _NUMBER, "deficit": _NUMBER, "percent": maybe(_NUMBER), "source": TEXT}
)
_CANDIDATE = object_of(
    {
        "name": TEXT,
        "kind": {"type": "string", "enum": ["nerve", "root"]},
        "list": TEXT,
        "rank": COUNT,
        "fits": _YES_NO,
        "explained": _TEXTS,
        "unexplained": _TEXTS,
        "contradicting": _TEXTS,
        "partlyServed": _TEXTS,
        "sources": _TEXTS,
        "evidence": _EVIDENCE,
    }
)
_JUDGED = object_of(
    {
        "kind": _KIND,
        "key": {"type": "string", "description": "Stable within the exam."},
        "flagged": {"type": "boolean", "description": "Should stand out to a reader."},
        **_RULED,
        "sources": {**_TEXTS, "description": "Keys of the table of sources."},
        "evidence": _EVIDENCE,
        "used": list_of(
            object_of(
                {
                    "finding": {"type": "string", "description": "Key, with /left or /right."},
                    "value": TEXT,
                }
            )
        ),
    },
    value={**maybe(_NUMBER), "description": "Null when something is missing."},
    unit={"type": "string", "description": "Empty for a plain number."},
    comparator={"type": "string", "enum": ["<", ">"]},
    interpretation=maybe({"type": "string", "description": "v3-ObservationInterpretation"}),
    low=_NUMBER,
    high=_NUMBER,
    reference=TEXT,
    handbook=_HANDBOOK,
    z={**_NUMBER, "description": "Standard deviations from the mean of the published group."},
    percentile={**_NUMBER, "description": "In a normal distribution."},
    percentileComparator={"type": "string", "enum": ["<", ">"]},
    gradings=list_of(object_of({"scheme": TEXT, "word": TEXT, "source": TEXT})),
    missing={**_TEXTS, "description": "What has to be recorded before it can be worked out."},
    candidates={**list_of(_CANDIDATE), "description": "Consistent with; never a diagnosis."},
    leftOut=_TEXTS,
    unlisted=_TEXTS,
    notes=list_of(object_of({"test": TEXT, "text": TEXT, "source": TEXT})),
)
_CELL = object_of(
    {
        "joint": TEXT,
        "part": TEXT,
        "side": TEXT,
        "state": TEXT,
        "outcome": TEXT,
        "reasons": _TEXTS,
        "missing": _TEXTS,
        "findings": _TEXTS,
    }
)
_COMPLETENESS = object_of(
    {
        "protocol": TEXT,
        **_RULED,
        "done": COUNT,
        "asked": COUNT,
        "notApplicable": COUNT,
        "percent": maybe(_NUMBER),
        "cells": list_of(_CELL),
        "beyond": _TEXTS,
    }
)
_PUBLISHED = object_of(
    {
        "statistic": TEXT,
        "value": _NUMBER,
        "sd": maybe(_NUMBER),
        "n": maybe(COUNT),
        "mode": TEXT,
        "sex": TEXT,
        "ageFrom": COUNT,
        "ageTo": COUNT,
        "source": TEXT,
        "citation": TEXT,
        "evidence": _EVIDENCE,
        "fits": _YES_NO,
        "against": {**_TEXTS, "description": "Why it does not fit."},
    }
)
_ERROR = object_of(
    {"value": _NUMBER, "unit": TEXT, "situation": TEXT, "source": TEXT, "evidence": _EVIDENCE}
)
_ERRORS = object_of(
    {
        "value": maybe(_NUMBER),
        "unit": TEXT,
        "statistic": TEXT,
        "printed": {**TEXT, "description": "The figure as published."},
        "mode": TEXT,
        "methods": _TEXTS,
        "situation": TEXT,
        "note": {**TEXT, "description": "Why it decides nothing, where it has no value."},
        "source": TEXT,
        "citation": TEXT,
        "evidence": _EVIDENCE,
    }
)
_SIDE = object_of(
    {
        "key": TEXT,
        "side": TEXT,
        "observation": TEXT,
        "judgement": maybe(ref("Judged")),
        "published": list_of(_PUBLISHED),
        "measurementError": maybe(_ERROR),
        "measurementErrors": list_of(_ERRORS),
        "usedIn": list_of(ref("Judged")),
        "codes": list_of(
            object_of(
                dict.fromkeys(("path", "system", "code", "display", "verified", "source"), TEXT)
            )
        ),
    }
)

SCHEMAS: dict[str, Schema] = {
    "Judged": _JUDGED,
    "Assessment": object_of(
        {
            "edition": TEXT,
            "judged": list_of(ref("Judged")),
            "completeness": maybe(_COMPLETENESS),
        }
    ),
    "Explanation": object_of(
        {
            "exam": TEXT,
            "version": {"type": "integer", "minimum": 1},
            "status": TEXT,
            "edition": TEXT,
            "posted": {"type": "object"},
            "rules": list_of(object_of(dict.fromkeys(("code", "title", "scope", "source"), TEXT))),
            "problems": list_of(ref("Problem")),
            "sides": list_of(_SIDE),
        },
        caution=TEXT,
    ),
}
