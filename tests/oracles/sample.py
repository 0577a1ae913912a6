"""Good bundles to plant faults in.

The first one is the worked example of the modelling notes, rewritten to the names of our own code
system. :func:`good_bundles` is the one place to add bundles that the service makes.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from tests.oracles.book import LOINC, SNOMED, UCUM, Book, fixed_sides
from tests.oracles.definitions import Json
from tests.oracles.judge import CANONICAL

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


@dataclass(frozen=True, slots=True)
class Good:
    """A bundle that no oracle may complain about, with the tables it was made from."""

    name: str
    bundle: Json
    book: Book


def good_bundles(shared: Path) -> list[Good]:
    """Return the good bundles; a fault is planted in the first one that has a place for it."""
    return [_worked_example(shared)]


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
