"""Row types of standard codes: systems, codes, maps and body structures.

Field names are the column names, as in :mod:`brachium.tables.rows`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class System:
    """codes/systems.csv: a code system we cite, its canonical URI, release and licence."""

    system: str
    uri: str
    release: str
    licence: str
    source: str


@dataclass(frozen=True, slots=True)
class Code:
    """codes/codes.csv, key (system, code): a standard code, its exact display and how sure we are.

    ``status`` is active or deprecated; ``confidence`` high or medium; ``verified`` false when, for
    instance, the side was inferred from the position in a number block.
    """

    system: str
    code: str
    display: str
    status: str
    confidence: str
    verified: bool
    source: str


@dataclass(frozen=True, slots=True)
class Map:
    """codes/maps.csv: own concept (and side, empty for side-free) to a standard code.

    ``relationship`` is a code of R4 concept-map-equivalence; ``when`` is always or straight (only
    for an end of extension that is straight: a standard extension code defines no sign).
    """

    concept: str
    side: str
    system: str
    code: str
    relationship: str
    when: str
    source: str


@dataclass(frozen=True, slots=True)
class LoincAxes:
    """codes/loinc_axes.csv: the fields that the LOINC licence wants beside a shipped code."""

    loinc: str
    component: str
    property: str
    time_aspect: str
    system: str
    scale: str
    method: str
    status: str
    short_name: str
    long_common_name: str
    source: str


@dataclass(frozen=True, slots=True)
class Structure:
    """codes/structures.csv: a body structure and its SNOMED CT codes, side-free and per side."""

    structure: str
    label: str
    snomed: str
    snomed_left: str
    snomed_right: str
    source: str
