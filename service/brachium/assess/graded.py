"""Grades of strength, side against side.

The difference is right less left in steps of the scale. Two full grades say nothing and are not
compared; two weak ones are, and it is said that neither side serves as normal. A whole grade or
more stands out, which is this service's own convention.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.cutoffs import fitting, passed
from brachium.assess.derived import Derived
from brachium.assess.judgement import grade_text
from brachium.assess.measured import sentence, tidy
from brachium.assess.tested import OTHER, Place, limits_said, named
from brachium.tables.strength_rows import GRADES

if TYPE_CHECKING:
    from decimal import Decimal

    from brachium.assess.tested import Tested, Tests, Whose
    from brachium.tables.load import Tables
    from brachium.tables.rows import Grade


class _Side(NamedTuple):
    """One side as the cache knows it: its grade, what limited it, or what is missing."""

    grade: str
    limited: tuple[str, ...]
    missing: str


def grade_sides(tests: Tests, whose: Whose, tables: Tables) -> tuple[Derived, ...]:
    """Compare the grades of a test wherever the exam speaks of both sides and one is weak."""
    found: list[Derived] = []
    seen: set[Place] = set()
    for place, one in tests.items():
        if one.grade is None or one.grade.normal:
            continue
        joint, test, digit, _ = place
        both = Place(joint, test, digit, "both")
        right, left = (tests.get(Place(joint, test, digit, side)) for side in OTHER)
        if right is None or left is None or both in seen:
            continue
        seen.add(both)
        made = _compared(both, _side(right), _side(left), whose, tables)
        used = tuple(side.used for side in (right, left) if side.used)
        found.append(made._replace(used=used))
    return tuple(found)


def _side(one: Tested) -> _Side:
    return _Side(one.grade.grade if one.grade else "", one.limited, one.missing)


@lru_cache(maxsize=4096)
def _compared(place: Place, right: _Side, left: _Side, whose: Whose, tables: Tables) -> Derived:
    made = tables.computations[GRADES]
    missing = tuple(one.missing for one in (right, left) if one.missing)
    value: Decimal | None = None
    flagged = False
    sources: tuple[str, ...] = ()
    if missing:
        text = f"sides not compared; {'; '.join(missing)}"
    else:
        scale = tables.scales[tables.strength[place.joint, place.test].scale]
        grades = scale[right.grade], scale[left.grade]
        value = tidy(grades[0].ordinal - grades[1].ordinal)
        rows = fitting(GRADES, place.joint, place.test, whose, tables)
        over = passed(rows, "from", {made.unit: abs(value)})
        flagged = bool(over)
        sources = tuple(row.source for row in rows)
        text = _said(*grades, (right, left), tables)
        text += "".join(f"; {row.meaning}" for row in over)
    return Derived(
        name=GRADES,
        rule=made.rule,
        joint=place.joint,
        digit=place.digit,
        side="both",
        qualifier=place.test,
        statement=sentence(f"{named(place, tables)}: {text}"),
        sources=tuple(dict.fromkeys((made.source, *sources))),
        evidence=made.evidence,
        used=(),
        value=value,
        unit=made.unit,
        flagged=flagged,
        missing=missing,
    )


def _said(right: Grade, left: Grade, sides: tuple[_Side, _Side], tables: Tables) -> str:
    seen = ", ".join(
        f"{side} {grade_text(grade.scale, grade.grade)}{limits_said(one.limited, tables)}"
        for side, grade, one in zip(OTHER, (right, left), sides, strict=True)
    )
    if right.ordinal == left.ordinal:
        how = "no difference"
    else:
        how = f"{'right' if right.ordinal < left.ordinal else 'left'} weaker"
    if not right.normal and not left.normal:
        how += ", both below full strength, so neither side serves as normal"
    return f"{seen}; {how}"
