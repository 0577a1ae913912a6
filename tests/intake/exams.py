"""A small exam to change, and the changes that the tests make to it."""

from __future__ import annotations

import json
from copy import deepcopy
from typing import Any

_SALTMARSH = "https://saltmarsh.example.org/fid"

EXAM: dict[str, Any] = {
    "identifier": {"system": f"{_SALTMARSH}/exam", "value": "EX 1&2|3"},
    "status": "final",
    "effective": "2026-03-02T10:15:00+01:00",
    "patient": {
        "identifier": {"system": f"{_SALTMARSH}/patient", "value": "P-9"},
        "birthDate": "1969-04-11",
        "sex": "female",
        "dominantHand": "right",
    },
    "examiner": {"identifier": {"system": f"{_SALTMARSH}/examiner", "value": "E-4"}},
    "facility": {"identifier": {"system": f"{_SALTMARSH}/facility", "value": "F-1"}},
    "findings": [
        {
            "key": "abduction-r",
            "kind": "motion",
            "joint": "shoulder",
            "motion": "abduction",
            "side": "right",
            "mode": "active",
            "angle": {"value": 150, "unit": "deg"},
            "method": "goniometer",
            "position": "sitting",
        },
        {
            "key": "abduction-l",
            "kind": "motion",
            "joint": "shoulder",
            "motion": "abduction",
            "side": "left",
            "mode": "active",
            "angle": {"value": 175.0, "unit": "deg"},
            "method": "goniometer",
            "position": "sitting",
        },
        {
            "key": "tender",
            "kind": "palpation",
            "joint": "shoulder",
            "site": "ac-joint",
            "sign": "tenderness",
            "side": "right",
            "present": True,
            "severity": 6,
        },
        {
            "key": "rotation",
            "kind": "motion",
            "joint": "shoulder",
            "motion": "external-rotation",
            "side": "right",
            "mode": "passive",
            "armPosition": "at-side",
            "absent": {"reason": "not-tested", "because": "pain"},
        },
        {
            "key": "grip",
            "kind": "strength",
            "joint": "hand",
            "test": "grip",
            "side": "right",
            "trials": [{"value": 34.40, "unit": "kg"}],
            "method": "dynamometer",
        },
        {
            "key": "biceps",
            "kind": "strength",
            "joint": "elbow",
            "test": "flexion",
            "side": "left",
            "grade": "4+",
        },
    ],
}


def exam(**changes: Any) -> dict[str, Any]:
    """Return a copy of the exam with other top-level members."""
    return {**deepcopy(EXAM), **changes}


def finding(content: dict[str, Any], key: str) -> dict[str, Any]:
    """Return the finding with a key, to be changed in place."""
    return next(one for one in content["findings"] if one["key"] == key)


def without(content: dict[str, Any], key: str) -> dict[str, Any]:
    """Take a finding out, in place."""
    content["findings"] = [one for one in content["findings"] if one["key"] != key]
    return content


def raw(content: dict[str, Any]) -> bytes:
    """Return the exam as it is posted; 175.0 and 34.40 keep their zeros."""
    return json.dumps(content).replace("34.4,", "34.40,").encode()
