"""What the oracles of our own rules need to know of the tables, in a form of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

SNOMED = "http://snomed.info/sct"
LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
# SNOMED CT qualifier values, from the value set of observation-structureLaterality
QUALIFIERS = {"7771000": "left", "24028007": "right", "51440002": "both"}

# our own extensions, by the last part of their URL
EXTENSIONS = frozenset(
    {"dominant-hand", "exam-note", "exam-status", "method-not-stated", "not-examined"}
)

Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Book:
    """``canonical`` is the base of our own URLs, without a slash at the end.

    ``displays`` holds every coding that may go out; ``sides`` the side that a coding states;
    ``grades`` the ordinal of every scale grade; ``paired`` our concepts recorded once about both
    sides; ``personal`` our concepts about the whole person; ``straight`` standard codes of an
    extension, which define no sign; ``computed`` our concepts of what is worked out from findings.
    """

    canonical: str
    displays: Mapping[Key, str]
    sides: Mapping[Key, str]
    grades: Mapping[Key, Decimal] = field(default_factory=dict)
    paired: frozenset[str] = frozenset()
    personal: frozenset[str] = frozenset({"dominant-hand"})
    straight: frozenset[Key] = frozenset()
    computed: frozenset[str] = frozenset()

    @property
    def own(self) -> str:
        """The URL of our own code system."""
        return f"{self.canonical}/CodeSystem/arm-exam"


def fixed_sides(own: str) -> dict[Key, str]:
    """Return the side qualifiers: SNOMED CT's, and ours for where SNOMED CT is switched off."""
    sides = {(SNOMED, code): side for code, side in QUALIFIERS.items()}
    return sides | {(own, f"side-{side}"): side for side in ("left", "right", "both")}


def from_tables(tables: Any, canonical: str) -> Book:
    """Build the book from loaded tables and the canonical base that the bundles were made with."""
    own = f"{canonical}/CodeSystem/arm-exam"
    uri = {name: row.uri for name, row in tables.systems.items()}
    displays = {(uri[row.system], row.code): row.display for row in tables.codes.values()}
    displays |= {(own, code): row.display for code, row in tables.concepts.items()}
    grades = {}
    for scale, rows in tables.scales.items():
        for grade, row in rows.items():
            grades[f"{canonical}/CodeSystem/{scale}", grade] = row.ordinal
            displays[f"{canonical}/CodeSystem/{scale}", grade] = row.label
    maps = [row for rows in tables.maps.values() for row in rows]
    return Book(
        canonical=canonical,
        displays=displays,
        sides=fixed_sides(own)
        | _structures(tables)
        | {(uri[row.system], row.code): row.side for row in maps if row.side},
        grades=grades,
        paired=frozenset(f"{r.part}-{r.sign}" for r in tables.signs.values() if r.paired),
        straight=frozenset((uri[r.system], r.code) for r in maps if r.when == "straight"),
        computed=frozenset(tables.computations),
    )


def _structures(tables: Any) -> dict[Key, str]:
    sides: dict[Key, str] = {}
    for row in tables.structures.values():
        for code, side in ((row.snomed_left, "left"), (row.snomed_right, "right")):
            if code:
                sides[SNOMED, code] = side
    return sides
