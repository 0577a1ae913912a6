"""Own codes back to the words of an exam: the way of the templates, walked the other way."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

from brachium.coding.fhir import OwnUrls
from brachium.tables.concepts import (
    PARTS,
    absence_concept,
    motion_concept,
    part_concept,
    sign_concept,
    site_concept,
    strength_concept,
)
from brachium.tables.load import Tables


class Place(NamedTuple):
    """Where a finding is; empty where a word does not belong to it."""

    joint: str
    site: str
    digit: str


class Words:
    """Every own code of the tables with the words it stands for."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self.findings = dict(_findings(tables))
        self.places = dict(_places(tables))
        self.absences = dict(_absences(tables))
        self.units = {row.ucum: row.unit for row in tables.units.values()}


@lru_cache(maxsize=8)
def words_of(tables: Tables) -> Words:
    """Return the words of the tables."""
    return Words(tables)


def _findings(tables: Tables) -> Any:  # noqa: ANN401 - pairs of code and members
    for row in tables.motions.values():
        for mode in row.modes:
            members = {"kind": "motion", "joint": row.joint, "motion": row.motion, "mode": mode}
            yield motion_concept(row, mode), members
    for sign in tables.signs.values():
        yield sign_concept(sign.part, sign.sign), {"kind": sign.part, "sign": sign.sign}
    for test in tables.strength.values():
        members = {"kind": "strength", "joint": test.joint, "test": test.test}
        yield strength_concept(test.joint, test.test), members
    for joint in tables.joints:
        for part in PARTS:
            yield part_concept(joint, part), {"kind": "part", "joint": joint, "part": part}


def _places(tables: Tables) -> Any:  # noqa: ANN401 - pairs of code and place
    for joint in tables.joints:
        for digit in ("", *tables.digits):
            yield site_concept(joint, None, digit or None), Place(joint, "", digit)
    for row in tables.sites.values():
        for digit in ("", *row.digits):
            yield (
                site_concept(row.joint, row.site, digit or None),
                Place(row.joint, row.site, digit),
            )


def _absences(tables: Tables) -> Any:  # noqa: ANN401 - pairs of code and absence
    limiters = [row.option for row in tables.options.values() if row.kind == "limiter"]
    for reason in ("not-tested", "declined", "not-applicable", "not-examined"):
        yield absence_concept(reason), {"reason": reason}
        for because in limiters:
            yield absence_concept(reason, because), {"reason": reason, "because": because}


class Reader(NamedTuple):
    """Picks codings by system, because their order carries no meaning (OBS-06)."""

    urls: OwnUrls

    def own(self, coded: dict[str, Any]) -> str:
        """Return the own code of a CodeableConcept; ``LookupError`` without exactly one."""
        codes = [c["code"] for c in coded["coding"] if c["system"] == self.urls.concepts]
        if len(codes) != 1:
            raise LookupError(f"{len(codes)} own codes where one is expected")
        code: str = codes[0]
        return code

    def word(self, coded: dict[str, Any], prefix: str) -> str:
        """Return the own code without its prefix: ``position-sitting`` -> ``sitting``."""
        return self.own(coded).removeprefix(prefix)
