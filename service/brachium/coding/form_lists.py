"""The answers a form offers: choices made of the tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from brachium.coding.fhir import OwnUrls
from brachium.coding.form import Choice, Words
from brachium.exam.rule import ModelOptions
from brachium.exam.schema_findings import grades_of_scale, methods_of, units_of
from brachium.tables.concepts import (
    ABSENCES,
    absence_concept,
    method_concept,
    motion_concept,
    option_concept,
    sign_concept,
    site_concept,
    strength_concept,
)

if TYPE_CHECKING:
    from brachium.tables.load import Tables
    from brachium.tables.rows import MotionRow, StrengthRow, Unit

_SIDES = ("left", "right", "both")
_HANDS = ("right", "left", "ambidextrous", "unknown")


class Lists:
    """Every list of choices, under one canonical base and one set of options."""

    def __init__(self, tables: Tables, canonical: str, options: ModelOptions) -> None:
        self.tables = tables
        self._urls = OwnUrls(canonical)
        self._options = options

    def own(self, code: str, *words: tuple[str, str]) -> Choice:
        """Return one of our concepts as a choice."""
        return Choice(self._urls.concepts, code, self.tables.concepts[code].display, words)

    def sides(self) -> tuple[Choice, ...]:
        """Left, right, both."""
        return tuple(self.own(f"side-{side}", ("side", side)) for side in _SIDES)

    def hands(self) -> tuple[Choice, ...]:
        """The dominant hand."""
        return tuple(
            self.own(f"dominant-{hand}", ("patient/dominantHand", hand)) for hand in _HANDS
        )

    def outcomes(self) -> tuple[Choice, ...]:
        """What is said of a whole part."""
        return (self.own("outcome-no-abnormality", ("outcome", "no-abnormality")),)

    def absences(self) -> tuple[Choice, ...]:
        """Why there is no result (EXM-15)."""
        return tuple(
            self.own(absence_concept(reason), ("absent/reason", reason)) for reason in ABSENCES
        )

    def options(self, kind: str, member: str) -> tuple[Choice, ...]:
        """The rows of model/options.csv of a kind, as answers for a member."""
        return tuple(
            self.own(option_concept(kind, option), (member, option))
            for name, option in self.tables.options
            if name == kind
        )

    def methods(self, kind: str, measures: Iterable[str]) -> tuple[Choice, ...]:
        """The methods that fit a kind of finding and any of the measures."""
        found = dict.fromkeys(
            method for measure in measures for method in methods_of(self.tables, kind, measure)
        )
        return tuple(self.own(method_concept(method), ("method", method)) for method in found)

    def grades(self, scale: str) -> tuple[Choice, ...]:
        """The grades of a scale, coded in the scale's own system."""
        rows = self.tables.scales[scale]
        return tuple(
            Choice(self._urls.scale(scale), grade, rows[grade].label, (("grade", grade),))
            for grade in grades_of_scale(scale, self.tables, self._options)
        )

    def units(self, rows: Iterable[MotionRow | StrengthRow]) -> tuple[Unit, ...]:
        """The units that any of the rows is measured in."""
        found = dict.fromkeys(
            unit for row in rows for unit in units_of(row.units, self.tables, self._options)
        )
        return tuple(self.tables.units[unit] for unit in found)

    def motions(self, joint: str) -> tuple[tuple[Choice, MotionRow], ...]:
        """The motions of a joint, each in each of its modes."""
        return tuple(
            (self.own(motion_concept(row, mode), ("motion", row.motion), ("mode", mode)), row)
            for row in self.tables.motions.values()
            if row.joint == joint
            for mode in row.modes
        )

    def tests(self, joint: str) -> tuple[tuple[Choice, StrengthRow], ...]:
        """The strength tests of a joint."""
        return tuple(
            (self.own(strength_concept(joint, row.test), ("test", row.test)), row)
            for row in self.tables.strength.values()
            if row.joint == joint
        )

    def sites(self, joint: str, part: str) -> tuple[Choice, ...]:
        """The sites of a joint, one for each digit where there are several."""
        return tuple(self._sites(joint, part))

    def _sites(self, joint: str, part: str) -> Iterator[Choice]:
        for row in self.tables.sites.values():
            if (row.joint, row.part) != (joint, part):
                continue
            for digit in row.digits or ("",):
                words: Words = (("site", row.site), *((("digit", digit),) if digit else ()))
                yield self.own(site_concept(joint, row.site, digit or None), *words)

    def signs(self, joint: str, part: str) -> tuple[Choice, ...]:
        """The signs recorded at any site of a joint."""
        found = {
            sign
            for row in self.tables.sites.values()
            if (row.joint, row.part) == (joint, part)
            for sign in row.signs
        }
        return tuple(
            self.own(sign_concept(part, sign), ("sign", sign))
            for name, sign in self.tables.signs
            if name == part and sign in found
        )

    def digits(self, joint: str, digits: Iterable[str]) -> tuple[Choice, ...]:
        """The digits of a joint as places of the body."""
        wanted = set(digits)
        return tuple(
            self.own(site_concept(joint, None, digit), ("digit", digit))
            for digit in self.tables.digits
            if digit in wanted
        )
