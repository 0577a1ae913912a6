"""Small builders of posted exams for the tests of the exam package."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from typing import Any

import orjson

from brachium.exam.model import ModelOptions
from brachium.exam.numbers import written
from brachium.exam.reading import Examined, examine
from brachium.tables.load import Tables, load

Posted = dict[str, Any]


@cache
def tables() -> Tables:
    return load()


def number(value: object) -> Any:
    if isinstance(value, Decimal):
        return orjson.Fragment(written(value))
    raise TypeError


def to_json(exam: Any) -> bytes:
    return orjson.dumps(exam, default=number)


def party(value: str) -> Posted:
    return {"identifier": {"system": "https://saltmarsh.example.org/fid/any", "value": value}}


def exam(*findings: Posted, **header: Any) -> Posted:
    """An exam of a woman of 56 years; findings without key get one."""
    patient = {**party("P-1"), "birthDate": "1969-04-11", "sex": "female", "dominantHand": "right"}
    patient.update(header.pop("patient", {}))
    return {
        **party("EX-1"),
        "status": "final",
        "effective": "2026-03-02T10:15:00+01:00",
        "patient": patient,
        "examiner": party("D-1"),
        "facility": party("F-1"),
        "findings": [{"key": f"f{index}", **one} for index, one in enumerate(findings)],
        **header,
    }


def read(posted: Any, **options: bool) -> Examined:
    raw = posted if isinstance(posted, bytes) else to_json(posted)
    return examine(raw, tables(), ModelOptions(**options))


def deg(value: Any) -> Posted:
    return {"value": value, "unit": "deg"}


def kg(*values: Any, unit: str = "kg") -> list[Posted]:
    return [{"value": value, "unit": unit} for value in values]


def move(value: Any = None, **more: Any) -> Posted:
    """Active abduction of the right shoulder, unless said otherwise."""
    finding = {
        "kind": "motion",
        "joint": "shoulder",
        "motion": "abduction",
        "side": "right",
        "mode": "active",
    }
    return {**finding, **({} if value is None else {"angle": deg(value)}), **more}


def end(word: str | None, value: Any = None, **more: Any) -> Posted:
    """Active end of extension of the right elbow."""
    finding = move(joint="elbow", motion="extension")
    if word:
        finding["end"] = word
    return {**finding, **({} if value is None else {"magnitude": deg(value)}), **more}


def grade(word: str | None, **more: Any) -> Posted:
    finding = {"kind": "strength", "joint": "elbow", "test": "flexion", "side": "right"}
    return {**finding, **({} if word is None else {"grade": word}), **more}


def grip(*values: Any, unit: str = "kg", **more: Any) -> Posted:
    finding = {"kind": "strength", "joint": "hand", "test": "grip", "side": "right"}
    return {**finding, "trials": kg(*values, unit=unit), **more}


def sign(present: bool | None = True, **more: Any) -> Posted:
    """Tenderness of the right AC joint."""
    finding: Posted = {
        "kind": "palpation",
        "joint": "shoulder",
        "site": "ac-joint",
        "sign": "tenderness",
        "side": "right",
    }
    return {**finding, **({} if present is None else {"present": present}), **more}


def part(name: str = "palpation", **more: Any) -> Posted:
    return {
        "kind": "part",
        "joint": "shoulder",
        "part": name,
        "side": "right",
        "outcome": "no-abnormality",
        **more,
    }


def found(examined: Examined, code: str) -> list[str]:
    """The pointers at which a code was found."""
    return [problem.pointer for problem in examined.problems if problem.code == code]
