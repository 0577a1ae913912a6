"""The strength tests of an exam by what was tested: a grade or trials, or the reason for neither.

Forces are in the base unit of their dimension (kilograms of force). Nothing is averaged here.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from brachium.assess.derived import Used
from brachium.assess.measured import spot
from brachium.assess.values import in_base_unit
from brachium.exam.findings import Strength
from brachium.tables.concepts import ABSENCES, in_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.exam.findings import Quantity
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables
    from brachium.tables.rows import Grade

# a unit factor with an endless fraction must not push a value across a cut-off
_EXACT = Decimal("0.000001")
OTHER = {"right": "left", "left": "right"}


class Whose(NamedTuple):
    """What of the patient matters for references. Ages in completed years, as dates allow them."""

    sex: str
    youngest: int
    oldest: int
    dominant: str


class Place(NamedTuple):
    """What was tested; ``digit`` is empty where there is none."""

    joint: str
    test: str
    digit: str
    side: str


class Tested(NamedTuple):
    """One test of one place: a grade, or trials in kilograms of force, or what is missing.

    ``limited`` are the words of what limited it; ``results`` counts the findings with a result.
    """

    grade: Grade | None
    trials: tuple[Decimal, ...]
    used: Used | None
    missing: str
    limited: tuple[str, ...]
    position: str
    results: int


Tests: TypeAlias = "Mapping[Place, Tested]"


def tested(leaves: Iterable[Leaf], tables: Tables) -> Tests:
    """Return every strength test of an exam by place."""
    found: dict[Place, Tested] = {}
    for leaf in leaves:
        finding = leaf.finding
        if type(finding) is Strength:
            place = Place(finding.joint, finding.test, finding.digit or "", leaf.side)
            one = _tested(leaf, finding, place, tables)
            before = found.get(place)
            found[place] = one if before is None else _joined(before, one, place, tables)
    return found


def test_of(tests: Tests, place: Place, tables: Tables) -> Tested:
    """Return the test of a place, also one of which the exam says nothing."""
    found = tests.get(place)
    return _unrecorded(place, tables) if found is None else found


def _tested(leaf: Leaf, finding: Strength, place: Place, tables: Tables) -> Tested:
    limited, position = finding.limited_by, finding.position or ""
    if finding.absent is None and (finding.grade is not None or finding.trials):
        used = Used(leaf.key, _said(finding, tables))
        grade = None
        if finding.grade is not None:
            scale = tables.strength[finding.joint, finding.test].scale
            grade = tables.scales[scale][finding.grade]
        trials = tuple(in_kilograms(trial, tables) for trial in finding.trials)
        return Tested(grade, trials, used, "", limited, position, 1)
    why = _why_absent(finding, tables)
    because = finding.absent.because if finding.absent else None
    limited = (*limited, because) if because else limited
    return Tested(None, (), None, f"{named(place, tables)}: {why}", limited, position, 0)


def in_kilograms(quantity: Quantity, tables: Tables) -> Decimal:
    """Return a force in kilograms of force; exact for kilograms and to a milligram for others."""
    unit = tables.units[quantity.unit]
    value = in_base_unit(quantity, unit)
    return value if unit.factor == 1 else value.quantize(_EXACT)


def _joined(before: Tested, one: Tested, place: Place, tables: Tables) -> Tested:
    """Join two findings of one test. Two values are none: which one holds would be a guess."""
    limited = tuple(dict.fromkeys((*before.limited, *one.limited)))
    if not before.results or not one.results:
        return (before if before.results else one)._replace(limited=limited)
    results = before.results + one.results
    why = f"recorded {results} times, and which one holds would be a guess"
    missing = f"{named(place, tables)}: {why}"
    return Tested(None, (), None, missing, limited, "", results)


@lru_cache(maxsize=4096)
def _unrecorded(place: Place, tables: Tables) -> Tested:
    return Tested(None, (), None, f"{named(place, tables)}: not recorded", (), "", 0)


def _said(finding: Strength, tables: Tables) -> str:
    """Return the result of a test in words, digits as recorded."""
    if finding.grade is not None:
        return finding.grade
    units = {trial.unit for trial in finding.trials}
    if len(units) == 1:
        figures = ", ".join(f"{trial.value:f}" for trial in finding.trials)
        return f"{figures} {tables.units[units.pop()].label}"
    return ", ".join(f"{one.value:f} {tables.units[one.unit].label}" for one in finding.trials)


def _why_absent(finding: Strength, tables: Tables) -> str:
    if finding.absent is None:
        return "no result"
    why = in_text(ABSENCES[finding.absent.reason])
    if finding.absent.because:
        why += f" ({limiter(finding.absent.because, tables)})"
    return why


def limiter(option: str, tables: Tables) -> str:
    """Return what limited a test in running text."""
    return in_text(tables.options["limiter", option].label)


@lru_cache(maxsize=4096)
def named(place: Place, tables: Tables) -> str:
    """Name a test of a place: "right middle finger DIP joint flexion", "left hand grip"."""
    sides = "" if place.side == "both" else f"{place.side} "
    phrase = tables.strength[place.joint, place.test].phrase
    return f"{sides}{spot(place.joint, place.digit, tables)} {phrase}"


@lru_cache(maxsize=1024)
def limits_said(limited: tuple[str, ...], tables: Tables) -> str:
    """Return ", limited by pain and swelling", or nothing."""
    if not limited:
        return ""
    return f", limited by {' and '.join(limiter(word, tables) for word in limited)}"
