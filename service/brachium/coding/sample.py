"""An invented exam that uses every concept of the tables once: what the proof of shape codes."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from brachium.exam.findings import Exam
from brachium.tables.concepts import PARTS
from brachium.tables.load import Tables
from brachium.tables.rows import MotionRow, SignRow, StrengthRow

_SYSTEM = "https://example.org/sample"


def sample(tables: Tables) -> Exam:
    """Return the exam; its numbers mean nothing. Pure, and the same for the same tables."""
    by = {"identifier": {"system": _SYSTEM, "value": "1"}}
    findings = [{"key": str(index), **finding} for index, finding in enumerate(_findings(tables))]
    return Exam.model_validate(
        {
            **by,
            "status": "final",
            "effective": "2000-01-01T00:00:00Z",
            "patient": {
                **by,
                "birthDate": "1960-01-01",
                "sex": "female",
                "dominantHand": "right",
            },
            "examiner": by,
            "facility": by,
            "encounter": by,
            "note": "sample",
            "findings": findings,
        }
    )


def _findings(tables: Tables) -> Iterator[dict[str, Any]]:
    for row in tables.motions.values():
        for mode in row.modes:
            motion = _motion(row, mode, tables)
            yield motion
            yield {**_unmeasured(motion), "absent": {"reason": "not-tested"}}
            yield {**_unmeasured(motion), "absent": {"reason": "not-examined"}}
    for sign in tables.signs.values():
        yield from _signs(sign, tables)
    for test in tables.strength.values():
        yield _strength(test, tables)
    for joint in tables.joints:
        for part in PARTS:
            named = {"kind": "part", "joint": joint, "part": part, "side": "both"}
            yield {**named, "outcome": "no-abnormality"}


def _motion(row: MotionRow, mode: str, tables: Tables) -> dict[str, Any]:
    found: dict[str, Any] = {
        "kind": "motion",
        "joint": row.joint,
        "motion": row.motion,
        "mode": mode,
        "side": "both",
        **_digit(tables, row.joint, row.digits),
        **_circumstances(tables),
    }
    if row.arm_positions:
        found["armPosition"] = row.arm_positions[0]
    if row.measure == "grade":
        return found | {"grade": next(iter(tables.scales[row.scale]))}
    size = {"value": Decimal("5.0"), "unit": row.units[0]}
    if row.measure == "end":
        return found | {"end": "beyond-straight", "magnitude": size}
    return found | {row.measure: size}


def _unmeasured(finding: dict[str, Any]) -> dict[str, Any]:
    results = ("grade", "end", "magnitude", "angle", "distance", "limitedBy")
    return {name: value for name, value in finding.items() if name not in results}


def _signs(row: SignRow, tables: Tables) -> Iterator[dict[str, Any]]:
    for site in tables.sites.values():
        if site.part == row.part and row.sign in site.signs:
            found: dict[str, Any] = {
                "kind": row.part,
                "joint": site.joint,
                "site": site.site,
                "sign": row.sign,
                "side": "both",
                "present": True,
            }
            found |= {"digit": site.digits[0]} if site.digits else {}
            found |= {"severity": Decimal("0.5")} if row.rated else {}
            yield found


def _strength(row: StrengthRow, tables: Tables) -> dict[str, Any]:
    found: dict[str, Any] = {
        "kind": "strength",
        "joint": row.joint,
        "test": row.test,
        "side": "both",
        **_digit(tables, row.joint, row.digits),
        **_circumstances(tables),
    }
    if row.measure == "grade":
        return found | {"grade": next(iter(tables.scales[row.scale]))}
    return found | {"trials": [{"value": Decimal("5.0"), "unit": row.units[0]}] * 2}


def _digit(tables: Tables, joint: str, digits: tuple[str, ...]) -> dict[str, str]:
    own = tables.joints[joint].digits or digits
    return {"digit": own[0]} if own else {}


def _circumstances(tables: Tables) -> dict[str, Any]:
    """One option of every kind, so that each member occurs; whether they fit does not matter."""
    first = dict(reversed(tuple(tables.options)))
    return {"position": first["position"], "limitedBy": [first["limiter"]], "note": "sample"}
