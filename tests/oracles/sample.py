"""Good bundles to plant faults in: what the service makes of a small exam, and one by hand.

The one by hand is the worked example of the modelling notes, rewritten to the names of our own
code system: it owes nothing to the service's code, so the two check each other.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from tests.oracles.book import LOINC, SNOMED, UCUM, Book, fixed_sides
from tests.oracles.definitions import Json
from tests.oracles.judge import CANONICAL, default_book

from brachium.assess.options import AssessOptions
from brachium.coding.options import CodingOptions
from brachium.exam.rule import ModelOptions
from brachium.export import Framer
from brachium.intake.desk import Bench
from brachium.intake.receive import dry_run
from brachium.tables.load import Tables, load

_RENAMED = {
    "https://msk.example.org/fhir/CodeSystem/msk-exam": f"{CANONICAL}/CodeSystem/arm-exam",
    "https://msk.example.org/fhir": CANONICAL,
    "elbow-hyperextension-angle": "hyperextension-angle",
    "elbow-extension-deficit-angle": "extension-deficit-angle",
    "tenderness-severity": "severity",
    "panel-shoulder-bilateral": "panel-shoulder",
    "panel-elbow-bilateral": "panel-elbow",
    "shoulder.R.abduction.active": "shoulder-abduction/right",
    "shoulder.L.abduction.active": "shoulder-abduction/left",
}


def _finding(key: str, kind: str, joint: str, side: str, **members: Any) -> Json:
    return {"key": key, "kind": kind, "joint": joint, "side": side, **members}


def _degrees(value: int) -> Json:
    return {"value": value, "unit": "deg"}


def _motion(key: str, joint: str, motion: str, side: str, **members: Any) -> Json:
    method = {} if "absent" in members else {"method": "goniometer"}
    found = {"motion": motion, "mode": "active", **method, **members}
    return _finding(key, "motion", joint, side, **found)


def _digit(*joints: str) -> list[Json]:
    """Return all that the sum of one digit needs."""
    where: Json = {"side": "right", "digit": "middle"}
    flexed = [_motion(f"{j}-f", j, "flexion", angle=_degrees(70), **where) for j in joints]
    return [*flexed, *(_motion(f"{j}-e", j, "extension", end="straight", **where) for j in joints)]


_SHORT = _degrees(20)
_PAIN = {"reason": "not-tested", "because": "pain"}
_STANDS_AT = {"mode": "passive", "armPosition": "at-side"}
SMALL: Json = {
    "identifier": {"system": "https://clinic.example.org/fid/exam", "value": "EX-1"},
    "status": "final",
    "effective": "2026-03-02T10:15:00+01:00",
    "patient": {
        "identifier": {"system": "https://clinic.example.org/fid/patient", "value": "P-1"},
        "birthDate": "1969-04-11",
        "sex": "female",
        "dominantHand": "right",
    },
    "examiner": {"identifier": {"system": "https://clinic.example.org/fid/staff", "value": "17"}},
    "facility": {"identifier": {"system": "https://clinic.example.org/fid/site", "value": "1"}},
    "findings": [
        _motion("a", "shoulder", "abduction", "right", angle=_degrees(110), position="sitting"),
        _motion("b", "shoulder", "abduction", "left", angle=_degrees(165), position="sitting"),
        _motion("c", "shoulder", "external-rotation", "right", absent=_PAIN, **_STANDS_AT),
        _motion(
            "d", "elbow", "extension", "right", end="short-of-straight", magnitude=_degrees(20)
        ),
        _motion("e", "elbow", "extension", "left", end="beyond-straight", magnitude=_degrees(5)),
        _finding("f", "strength", "elbow", "left", test="flexion", grade="4"),
        _finding(
            "g",
            "palpation",
            "shoulder",
            "right",
            site="ac-joint",
            sign="tenderness",
            present=True,
            severity=6,
        ),
        _motion("h", "elbow", "flexion", "right", angle=_degrees(120)),
        *_digit("finger-mcp", "finger-pip", "finger-dip"),
    ],
}


@dataclass(frozen=True, slots=True)
class Good:
    """A bundle that no oracle may complain about, with the tables it was made from."""

    name: str
    bundle: Json
    book: Book


def good_bundles(shared: Path) -> list[Good]:
    """Return the good bundles; a fault is planted in the first one that has a place for it."""
    made = [made_by_the_service(kind) for kind in ("transaction", "collection", "document")]
    return [*made, _worked_example(shared)]


def made_by_the_service(kind: str, raw: bytes | None = None) -> Good:
    """Return what the service makes of an exam in JSON (a small one with a bit of everything)."""
    book = default_book()
    options = CodingOptions(canonical=CANONICAL, service="1.2.3")
    made = lambda: "2026-03-02T09:31:07.412Z"  # noqa: E731
    bench = Bench(_tables(), made, ModelOptions(), options, AssessOptions())
    receipt = dry_run(bench, raw or json.dumps(SMALL).encode())
    assert receipt.exam is not None, receipt.problems
    framer = Framer(bench.tables, "https://arms.example.org", CANONICAL)
    text = framer.framed(receipt.exam, receipt.resources, kind)
    return Good(f"{kind} by the service", json.loads(text, parse_float=Decimal), book)


@cache
def _tables() -> Tables:
    return load()


def _worked_example(shared: Path) -> Good:
    path = shared / "standards" / "examples" / "exam_transaction.json"
    text = path.read_text(encoding="utf-8")
    for old, new in _RENAMED.items():
        text = text.replace(old, new)
    bundle = json.loads(text, parse_float=Decimal)
    for entry in bundle["entry"]:
        _complete(entry["resource"])
    return Good("worked example", bundle, _book(bundle))


def _complete(resource: Json) -> None:
    """Add what the rules ask for beyond the example: a narrative of the report."""
    if resource["resourceType"] == "DiagnosticReport":
        words = resource["conclusion"].replace("&", "&amp;").replace("<", "&lt;")
        div = f'<div xmlns="http://www.w3.org/1999/xhtml"><p>{words}</p></div>'
        resource["text"] = {"status": "generated", "div": div}


def _book(bundle: Json) -> Book:
    own = f"{CANONICAL}/CodeSystem/arm-exam"
    displays: dict[tuple[str, str], str] = {(UCUM, code): "" for code in ("deg", "%", "{score}")}
    _gather(bundle, displays)
    return Book(
        canonical=CANONICAL,
        displays=displays,
        sides=fixed_sides(own)
        | {(LOINC, "41311-2"): "right", (LOINC, "41299-9"): "left"}
        | {(SNOMED, "368148009"): "left"},
        grades={(f"{CANONICAL}/CodeSystem/mrc-grade", "4"): Decimal(4)},
        straight=frozenset({(LOINC, "41353-4"), (LOINC, "41361-7")}),
    )


def _gather(value: object, displays: dict[tuple[str, str], str]) -> None:
    if isinstance(value, dict):
        if isinstance(value.get("system"), str) and "code" in value and "value" not in value:
            displays.setdefault((value["system"], value["code"]), value.get("display", ""))
        for member in value.values():
            _gather(member, displays)
    elif isinstance(value, list):
        for member in value:
            _gather(member, displays)
