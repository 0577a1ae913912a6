"""Codings of one set of tables under one set of options: own concepts and what they map to."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

from brachium.coding.fhir import LOINC, SNOMED, STANDS_FOR, UCUM, OwnUrls
from brachium.coding.jsontext import dump
from brachium.coding.options import CodingOptions
from brachium.problems import Listed, Problem, Severity
from brachium.tables.load import Tables
from brachium.tables.rows import Code, Map

_ORDER = {LOINC: 0, SNOMED: 1}


_UNMAPPED = Listed(
    "unmapped-concept",
    Severity.INFORMATION,
    "A concept has no standard code.",
    "It goes out with our own code and text; no code is guessed.",
    "Read the own code, or map it in an overlay of the tables.",
    "mapping tables",
)
_UNVERIFIED = Listed(
    "unverified-code",
    Severity.INFORMATION,
    "A code went out that is not confirmed in its release.",
    "Its side or meaning was inferred.",
    "Check it against the release, or switch unverified codes off.",
    "mapping tables",
)
LISTED = (_UNMAPPED, _UNVERIFIED)


class Notice(NamedTuple):
    """Something the sender should know about one code; :func:`problem` adds the place."""

    code: str
    subject: str
    message: str
    remedy: str
    source: str


@lru_cache(maxsize=4096)
def problem(notice: Notice, index: int) -> Problem:
    """Return the notice as an information problem about the finding at ``index``."""
    return Problem(
        code=notice.code,
        severity=Severity.INFORMATION,
        pointer=f"/findings/{index}",
        message=notice.message,
        remedy=notice.remedy,
        source=notice.source,
        issue_type="informational",
    )


class Vocabulary:
    """Looks codes up; never makes one up. A concept the tables lack raises ``KeyError``.

    ``units`` holds, by the exam's word for a unit, the end of a Quantity after its value.
    """

    def __init__(self, tables: Tables, options: CodingOptions) -> None:
        self.tables = tables
        self.options = options
        self.urls = OwnUrls(options.canonical)
        self.units = {
            row.unit: f'"unit":{dump(row.label)},"system":"{UCUM}","code":{dump(row.ucum)}}}'
            for row in tables.units.values()
        }
        self._codes = {
            (tables.systems[row.system].uri, row.code): row for row in tables.codes.values()
        }

    def own(self, concept: str) -> dict[str, Any]:
        """Return the coding of one of our own concepts."""
        row = self.tables.concepts[concept]
        return {"system": self.urls.concepts, "code": concept, "display": row.display}

    def standard(self, system: str, code: str) -> dict[str, Any]:
        """Return a standard coding with the display of the tables, or without one (TRM-02)."""
        row = self._codes.get((system, code))
        coding = {"system": system, "code": code}
        return {**coding, "display": row.display} if row is not None and row.display else coding

    def allowed(self, system: str, code: str) -> bool:
        """Tell whether the options and the tables let this standard code go out."""
        row = self._codes.get((system, code))
        if row is None or row.status == "deprecated":
            return False
        if system == SNOMED and not self.options.snomed:
            return False
        return row.verified or self.options.unverified

    def codings(self, concept: str, side: str = "", *, straight: bool = False) -> list[Any]:
        """Return own concept, LOINC without side, LOINC with side, SNOMED CT, in this order."""
        return [self.own(concept), *self.mapped(concept, side, straight=straight)]

    def mapped(self, concept: str, side: str = "", *, straight: bool = False) -> list[Any]:
        """Return the standard codings of a concept, first without, then with the side."""
        rows = [
            (self.tables.systems[row.system].uri, row)
            for row in self.tables.maps.get(concept, ())
            if self._applies(row, side, straight)
        ]
        rows.sort(key=lambda pair: (_ORDER.get(pair[0], 2), bool(pair[1].side), pair[1].code))
        return [self.standard(uri, row.code) for uri, row in rows if self.allowed(uri, row.code)]

    def _applies(self, row: Map, side: str, straight: bool) -> bool:
        if row.side and (row.side != side or self.options.side == "site"):
            return False
        # msk-loinc-ext: a standard extension code defines no sign for a deficit
        if row.when == "straight" and not straight:
            return False
        return row.relationship in STANDS_FOR

    def notices(self, concept: str, codings: list[Any]) -> tuple[Notice, ...]:
        """Say which concept has no standard code and which standard codes are unverified."""
        standard = [c for c in codings if c["system"] != self.urls.concepts]
        unverified = [
            row
            for c in standard
            if (row := self._codes.get((c["system"], c["code"]))) is not None and not row.verified
        ]
        unmapped = () if standard or not concept else (self._unmapped(concept),)
        return (*unmapped, *(self._unverified(row) for row in unverified))

    def _unmapped(self, concept: str) -> Notice:
        return Notice(
            _UNMAPPED.code,
            concept,
            f"No standard code goes out for {concept}: it has our own code and text only.",
            _UNMAPPED.remedy,
            f"mapping tables, edition {self.tables.edition}",
        )

    def _unverified(self, row: Code) -> Notice:
        return Notice(
            _UNVERIFIED.code,
            f"{row.system}|{row.code}",
            f"Code {row.code} of {row.system} went out although it is not verified: {row.display}.",
            _UNVERIFIED.remedy,
            row.source,
        )
