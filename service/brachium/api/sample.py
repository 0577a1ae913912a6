"""A sample exam for the API page, made of whatever the tables can record first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import orjson

from brachium.coding.response_writing import write_response
from brachium.exam.findings import Exam

if TYPE_CHECKING:
    from brachium.tables.gather import Tables
    from brachium.tables.rows import MotionRow

SYSTEM = "https://clinic.example.org/fid"


def sample(tables: Tables) -> dict[str, Any]:
    """Return a small exam that the schema and the rules accept."""
    rows = [row for row in tables.motions.values() if _simple(tables, row)]
    findings = [_motion(row, place) for place, row in enumerate(rows[:2], 1)]
    return {
        "identifier": _identifier("exam", "EX-1"),
        "status": "final",
        "effective": "2026-03-02T10:15:00+01:00",
        "patient": {
            "identifier": _identifier("patient", "P-1"),
            "birthDate": "1969-04-11",
            "sex": "female",
            "dominantHand": "right",
        },
        "examiner": {"identifier": _identifier("staff", "E-1")},
        "facility": {"identifier": _identifier("facility", "F-1")},
        "findings": findings,
    }


def filled_sample(tables: Tables, canonical: str) -> Any:  # noqa: ANN401 - JSON
    """Return the same exam as a filled-in form, as plain JSON."""
    exam = Exam.model_validate(sample(tables))
    return orjson.loads(write_response(exam, tables, canonical))


def _simple(tables: Tables, row: MotionRow) -> bool:
    digits = row.digits or tables.joints[row.joint].digits
    return row.measure == "angle" and not digits and not row.arm_positions


def _motion(row: MotionRow, place: int) -> dict[str, Any]:
    # 15 units of the motion's first unit: small enough for every limit, and not a round default
    return {
        "key": f"m{place}",
        "kind": "motion",
        "joint": row.joint,
        "motion": row.motion,
        "side": "right",
        "mode": row.modes[0],
        "angle": {"value": 15, "unit": row.units[0]},
    }


def _identifier(kind: str, value: str) -> dict[str, str]:
    return {"system": f"{SYSTEM}/{kind}", "value": value}
