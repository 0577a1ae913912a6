"""How far two measurements of one joint may lie apart by measuring alone.

The row of errors.csv that is most specific for motion, method, mode and rater situation holds. When
no instrument is stated, or the two measurements differ in instrument or mode, nobody can say which
row holds: then it is the largest of those that may. What was taken in one exam was taken by its one
examiner (same-rater); what was taken in two exams only where both name the same identifier.
Publications that print a range over several joints, motions or methods decide nothing, but are
named beside what does.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.options import MEMORY
from brachium.tables.concepts import in_text

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal

    from brachium.tables.load import Tables
    from brachium.tables.rows import MeasurementError

SAME, DIFFERENT = "same-rater", "different-raters"
WITHIN_EXAM = "the one examiner of the exam"
_METHODS = "different-methods"
_ANY = "any"
_AS_PRINTED = "proposal"


class Two(NamedTuple):
    """Two measurements of one motion: the mode and method of each, and who took them.

    A method is empty when no instrument is stated. ``situation`` is same-rater or different-raters;
    ``raters`` says in words how that is known.
    """

    joint: str
    motion: str
    modes: tuple[str, str]
    methods: tuple[str, str]
    situation: str
    raters: str


class Allowance(NamedTuple):
    """What measuring alone can make, in degrees.

    ``how`` names instrument and rater situation, and why this row and no other holds.
    """

    value: Decimal
    source: str
    evidence: str
    how: str

    @property
    def text(self) -> str:
        """Source, instrument and rater situation."""
        return f"{self.source}: {self.how}"


@lru_cache(maxsize=256)
def instrument(method: str | None, tables: Tables) -> str:
    """Return a stated method; empty for none, and for the one that says no more than none."""
    return "" if not method or tables.methods[method].default else method


@lru_cache(maxsize=4096)
def allowance(two: Two, tables: Tables, *, memory: bool = False) -> Allowance | None:
    """Return what two measurements may differ by, or ``None`` where no row fits.

    ``memory`` lets rows take part that nobody has read in their publication.
    """
    rows = [row for row in _trusted(tables, memory=memory) if _may_hold(row, two)]
    why = _why_unsure(two)
    both = zip(two.modes, two.methods, strict=True)
    if not all(any(_covers(row, *one) for row in rows) for one in both):
        return None
    if why:
        found = max(rows, key=lambda row: (row.value, _specific(row, two)))
    else:
        found = max(rows, key=lambda row: _specific(row, two))
    if found.value is None:
        return None
    how = f"{_named(found, two.raters, tables)}{why}{_beside(two, tables, memory=memory)}"
    return Allowance(found.value, found.source, found.evidence, how)


def error_of(joint: str, tables: Tables, *, memory: bool = False) -> MeasurementError | None:
    """Return the error of a joint by any instrument, one examiner; else the one for any joint.

    It serves where one measurement is held against a published figure, whose instrument and
    examiners are others anyway.
    """
    rows = [
        row
        for row in _trusted(tables, memory=memory)
        if row.situation == SAME and not (row.motion or row.mode or row.methods)
    ]
    for wanted in (joint, _ANY):
        for row in rows:
            if row.joint == wanted:
                return row
    return None


def errors_about(
    joint: str, motion: str, mode: str, tables: Tables
) -> tuple[MeasurementError, ...]:
    """Return every row about a motion in a mode, whatever it may decide."""
    return tuple(
        row
        for row in tables.errors
        if row.joint in (joint, _ANY) and row.motion in ("", motion) and row.mode in ("", mode)
    )


def _trusted(tables: Tables, *, memory: bool) -> Iterable[MeasurementError]:
    return (
        row for row in tables.errors if row.value is not None and (memory or row.evidence != MEMORY)
    )


def _may_hold(row: MeasurementError, two: Two) -> bool:
    return (
        row.joint in (two.joint, _ANY)
        and row.motion in ("", two.motion)
        and row.mode in ("", *two.modes)
        and _fits_methods(row, two)
    )


def _fits_methods(row: MeasurementError, two: Two) -> bool:
    stated = {method for method in two.methods if method}
    if row.situation == _METHODS:
        # one stated and one not: they may well be those two
        return len(set(two.methods)) == 2 and stated <= set(row.methods)
    if row.situation != two.situation:
        return False
    return not row.methods or "" in two.methods or not stated.isdisjoint(row.methods)


def _covers(row: MeasurementError, mode: str, method: str) -> bool:
    """What holds for some instruments only does not cover one that is not known."""
    return row.mode in ("", mode) and (not row.methods or method in row.methods)


def _specific(row: MeasurementError, two: Two) -> tuple[bool, int, Decimal | None]:
    named = sum(map(bool, (row.motion, row.mode, row.methods)))
    return row.joint == two.joint, named, row.value


def _why_unsure(two: Two) -> str:
    if not any(two.methods):
        return "; the largest that may hold, as no instrument is stated"
    if "" in two.methods:
        return "; the largest that may hold, as one instrument is not stated"
    if len(set(two.methods)) == 2:
        return "; the largest that may hold, as the instruments differ"
    if len(set(two.modes)) == 2:
        return "; the largest that may hold, as the modes differ"
    return ""


def _named(row: MeasurementError, raters: str, tables: Tables) -> str:
    words = [" and ".join(_instrument_said(method, tables) for method in row.methods)]
    if row.situation == _METHODS:
        words[0] = f"{words[0]} held against each other"
    said = f"{words[0] or 'figure for any instrument'}, {raters}"
    if row.statistic != _AS_PRINTED:
        said += f", printed {_printed(row)}"
    return f"{said}, from memory, not read in the publication" if row.evidence == MEMORY else said


def _instrument_said(method: str, tables: Tables) -> str:
    row = tables.methods[method]
    return in_text(row.device_label or row.label)


def _beside(two: Two, tables: Tables, *, memory: bool) -> str:
    """Name what is published of such measurements without a figure for this one alone."""
    rows = (row for row in tables.errors if row.value is None and _may_hold(row, two))
    trusted = (row for row in rows if memory or row.evidence != MEMORY)
    said = ", ".join(f"{_printed(row)} ({row.source})" for row in trusted)
    return f"; also published: {said}" if said else ""


def _printed(row: MeasurementError) -> str:
    """Return the figure as published; a statistic that ends in a number is an abbreviation."""
    word = row.statistic
    short = word == "sem" or word[-1].isdigit()
    return f"{word.upper() if short else word.replace('-', ' ')} {row.printed}"
