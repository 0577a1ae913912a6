"""Checks of mappings/codes: check digits, and no map to a code that must not go out."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from stdnum import luhn, verhoeff

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brachium.tables.gather import Draft, Tables
    from brachium.tables.rows import Map

# R4 value set concept-map-equivalence (required binding of ConceptMap target.equivalence)
EQUIVALENCES = (
    "relatedto",
    "equivalent",
    "equal",
    "wider",
    "subsumes",
    "narrower",
    "specializes",
    "inexact",
)
SIDES = ("", "left", "right")
SNOMED = "snomed"


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of the code tables."""
    yield from _codes(draft)
    yield from _maps(draft)
    yield from _structures(draft)
    yield from _units(draft)
    yield from _axes(draft)


def check_digit_holds(system: str, code: str) -> bool:
    """Tell whether a LOINC number (Luhn) or SNOMED CT identifier (Verhoeff) checks out.

    Codes of other systems have no check digit and always hold.
    """
    if system == "loinc":
        head, _, digit = code.rpartition("-")
        return len(digit) == 1 and head.isdigit() and bool(luhn.is_valid(head + digit))
    if system == SNOMED:
        # a concept identifier has 6 to 18 digits and the partition 00 or 10 before the check digit
        shaped = code.isdigit() and 6 <= len(code) <= 18 and code[-3:-1] in ("00", "10")
        return shaped and bool(verhoeff.is_valid(code))
    return True


def _codes(draft: Draft) -> Iterator[str]:
    for one in draft.reads["codes"]:
        row, place = one.row, one.place
        if row.system not in draft.tables.systems:
            yield f"{place}: system {row.system!r} is not in systems.csv"
        if not check_digit_holds(row.system, row.code):
            yield f"{place}: {row.system} {row.code}: wrong check digit"
        if row.confidence not in ("high", "medium"):
            yield f"{place}: confidence {row.confidence!r}; only high and medium may be used"
        if row.confidence == "medium" and row.verified:
            yield f"{place}: verified, although the confidence is medium"
        if row.status not in ("active", "deprecated"):
            yield f"{place}: status {row.status!r}"


def _may_go_out(tables: Tables, place: str, system: str, code: str) -> Iterator[str]:
    known = tables.codes.get((system, code))
    if known is None:
        yield f"{place}: {system} {code} is not in codes.csv"
    elif known.status != "active":
        yield f"{place}: {system} {code} is {known.status} and must never go out"


def _named_side(tables: Tables, place: str, system: str, code: str, side: str) -> Iterator[str]:
    """The side that a display names is the side of the row, so no code says the wrong side."""
    known = tables.codes.get((system, code))
    words = re.findall(r"\w+", known.display.lower()) if known else []
    named = [word for word in ("left", "right") if word in words]
    if known and named != ([side] if side else []):
        yield f"{place}: {system} {code} names side {named}, the row says {side!r}"


def _maps(draft: Draft) -> Iterator[str]:
    for one in draft.reads["maps"]:
        row, place = one.row, one.place
        if row.concept not in draft.tables.concepts:
            yield f"{place}: {row.concept!r} is no concept of ours"
        if row.relationship not in EQUIVALENCES:
            yield f"{place}: relationship {row.relationship!r}"
        if row.side not in SIDES:
            yield f"{place}: side {row.side!r}"
        yield from _may_go_out(draft.tables, place, row.system, row.code)
        yield from _end_map(draft.tables, row, place)
        if row.system == "loinc":
            yield from _named_side(draft.tables, place, row.system, row.code, row.side)


def _end_map(tables: Tables, row: Map, place: str) -> Iterator[str]:
    """A standard extension code defines no sign, so it fits a joint that ends straight."""
    ends = any(
        row.concept.startswith(f"{motion.joint}-{motion.motion}-end-position-")
        for motion in tables.motions.values()
        if motion.measure == "end"
    )
    if row.when != ("straight" if ends else "always"):
        yield f"{place}: when {row.when!r} does not fit {row.concept}"


def _structures(draft: Draft) -> Iterator[str]:
    for one in draft.reads["structures"]:
        row = one.row
        if (row.snomed_left or row.snomed_right) and not row.snomed:
            yield f"{one.place}: a side-specific code needs the side-free one"
        if bool(row.snomed_left) != bool(row.snomed_right):
            yield f"{one.place}: only one side has a code"
        sided = (("", row.snomed), ("left", row.snomed_left), ("right", row.snomed_right))
        for side, code in sided:
            if code:
                yield from _may_go_out(draft.tables, one.place, SNOMED, code)
                yield from _named_side(draft.tables, one.place, SNOMED, code, side)


def _units(draft: Draft) -> Iterator[str]:
    for one in draft.reads["units"]:
        yield from _may_go_out(draft.tables, one.place, "ucum", one.row.ucum)


def _axes(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["codes"]:
        if one.row.system == "loinc" and one.row.code not in tables.loinc_axes:
            yield f"{one.place}: LOINC {one.row.code} has no row in loinc_axes.csv"
    for one in draft.reads["loinc_axes"]:
        code = tables.codes.get(("loinc", one.row.loinc))
        if code is None or code.display != one.row.long_common_name:
            yield f"{one.place}: {one.row.loinc} has no code with this name in codes.csv"
