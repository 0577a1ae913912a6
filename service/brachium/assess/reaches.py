"""Motions that are recorded as a grade or a distance: what one says, and how the sides differ.

A grade is never turned into degrees. Differences are right minus left, in steps of the scale or in
the base unit of the distance; which side is healthy is not known here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.derived import Derived, Used
from brachium.assess.measured import Got, Subject, got, moved, sentence, spot, tidy
from brachium.assess.neutral_zero import plain

if TYPE_CHECKING:
    from collections.abc import Iterable
    from decimal import Decimal

    from brachium.assess.measured import Moved
    from brachium.exam.leaves import Leaf
    from brachium.tables.computation_rows import Reach
    from brachium.tables.load import Tables
    from brachium.tables.rows import Grade

_SIDES = ("right", "left")


class _Said(NamedTuple):
    text: str
    used: tuple[Used, ...]
    value: Decimal | None = None
    interpretation: str | None = None
    flagged: bool = False
    missing: tuple[str, ...] = ()


def reaches(leaves: Iterable[Leaf], tables: Tables) -> tuple[Derived, ...]:
    """Return what every grade and distance of an exam says, where it says something."""
    return reaches_of(moved(leaves, tables), tables)


def reaches_of(groups: Moved, tables: Tables) -> tuple[Derived, ...]:
    """Return the same for motions that are grouped already."""
    found: list[Derived] = []
    for row in tables.reaches:
        subjects = [
            subject
            for subject, motions in groups.items()
            if subject.joint == row.joint and row.motion in motions
        ]
        found.extend(_compared(row, groups, subjects, tables) if row.compares else ())
        found.extend(() if row.compares else _each(row, groups, subjects, tables))
    return tuple(found)


def _each(
    row: Reach, groups: Moved, subjects: Iterable[Subject], tables: Tables
) -> Iterable[Derived]:
    for subject in subjects:
        one = got(groups, subject, row.motion, tables)
        if one.used:
            said = _grade(row, groups, subject, one.used, tables)
        elif one.results:
            said = _Said(one.missing, (), missing=(one.missing,))
        else:
            continue
        yield _derived(row, subject, said, tables)


def _grade(row: Reach, groups: Moved, subject: Subject, one: Used, tables: Tables) -> _Said:
    scale = tables.scales[tables.motions[row.joint, row.motion].scale]
    grade = scale[one.value]
    judged = any(other.normal for other in scale.values())
    parts = [f"{grade.label} ({grade.grade})"]
    if row.counts_from is not None and grade.ordinal >= row.counts_from:
        lower = plain(row.counts_from)
        parts.append(
            f"from {lower} on it counts only when every lower one can be reached too, "
            "which the record does not say"
        )
    against = _against(row, groups, subject, tables) if grade.normal else []
    parts += [f"contradicted by {used.value} at the {where}" for where, used in against]
    if row.caution:
        parts.append(row.caution[:1].lower() + row.caution[1:])
    return _Said(
        "; ".join(parts),
        (one, *(used for _, used in against)),
        grade.ordinal,
        _interpretation(grade) if judged else None,
        (judged and not grade.normal) or bool(against),
    )


def _interpretation(grade: Grade) -> str:
    return "N" if grade.normal else "A"


def _against(row: Reach, groups: Moved, subject: Subject, tables: Tables) -> list[tuple[str, Used]]:
    """Find the distances of the same side and mode that a normal grade does not allow."""
    if not row.against:
        return []
    found = []
    for digit in tables.motions[row.joint, row.against].digits or ("",):
        other = subject._replace(digit=digit)
        one = got(groups, other, row.against, tables)
        if one.value and one.used:
            found.append((spot(other.joint, digit, tables), one.used))
    return found


def _compared(
    row: Reach, groups: Moved, subjects: Iterable[Subject], tables: Tables
) -> Iterable[Derived]:
    for subject in dict.fromkeys(subject._replace(side="both") for subject in subjects):
        sides = [got(groups, subject._replace(side=side), row.motion, tables) for side in _SIDES]
        used = tuple(one.used for one in sides if one.used)
        if used:
            yield _derived(row, subject, _difference(row, sides, used, tables), tables)


def _difference(row: Reach, sides: list[Got], used: tuple[Used, ...], tables: Tables) -> _Said:
    right, left = (one.value for one in sides)
    if right is None or left is None:
        missing = tuple(one.missing for one in sides if one.missing)
        return _Said(f"sides not compared; {'; '.join(missing)}", used, missing=missing)
    value = right - left
    seen = ", ".join(f"{side} {one.value}" for side, one in zip(_SIDES, used, strict=True))
    parts = [f"{seen}; {_how(row, value, tables)}"]
    if row.caution:
        parts.append(row.caution[:1].lower() + row.caution[1:])
    flagged = row.threshold is not None and abs(value) > row.threshold
    return _Said("; ".join(parts), used, tidy(value), flagged=flagged)


def _how(row: Reach, value: Decimal, tables: Tables) -> str:
    if not value:
        return "no difference"
    size = plain(abs(value))
    unit = tables.computations[row.computation].unit
    if unit:
        amount = f"{size} {tables.units[unit].label}"
    else:
        amount = f"{size} {row.step}" + ("" if abs(value) == 1 else "s")
    return f"right {amount} {row.more if value > 0 else row.less} than left"


def _derived(row: Reach, subject: Subject, said: _Said, tables: Tables) -> Derived:
    made = tables.computations[row.computation]
    sides = "" if subject.side == "both" else f"{subject.side} "
    place = f"{sides}{spot(subject.joint, subject.digit, tables)}, {subject.mode}"
    return Derived(
        name=made.computation,
        rule=made.rule,
        joint=subject.joint,
        digit=subject.digit,
        side=subject.side,
        qualifier="-".join(word for word in (subject.mode, subject.arm) if word),
        statement=sentence(f"{place}, {made.phrase}: {said.text}"),
        sources=tuple(dict.fromkeys((made.source, row.source))),
        evidence=made.evidence,
        used=said.used,
        value=said.value,
        unit=made.unit,
        interpretation=said.interpretation,
        flagged=said.flagged,
        missing=said.missing,
    )
