"""The points of one item of a score on one side, or what is missing for them."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.measured import Subject, got, named
from brachium.assess.neutral_zero import plain
from brachium.assess.tested import Place, test_of
from brachium.assess.tested import named as test_named
from brachium.tables.strength_rows import LINEAR

if TYPE_CHECKING:
    from brachium.assess.derived import Used
    from brachium.assess.measured import Got, Moved
    from brachium.assess.tested import Tests
    from brachium.tables.load import Tables
    from brachium.tables.strength_rows import ScoreItem

_MOTION = "motion"
_PLAIN = "plain"


class Recorded(NamedTuple):
    """What an exam holds: strength tests by place, motions by subject."""

    tests: Tests
    moved: Moved


class Points(NamedTuple):
    """Points of an item in words, the findings behind it, or what is missing."""

    points: Decimal | None
    text: str
    used: tuple[Used, ...]
    missing: tuple[str, ...]


class _Value(NamedTuple):
    value: Decimal | None
    text: str
    used: tuple[Used, ...]
    missing: tuple[str, ...]


def is_recorded(item: ScoreItem, side: str, have: Recorded) -> bool:
    """Tell whether the exam speaks of an item, be it to say why it was not tested."""
    if item.kind != _MOTION:
        return Place(item.joint, item.item, item.digit, side) in have.tests
    subjects = (Subject(item.joint, item.digit, side, mode) for mode in item.modes)
    return any(item.item in have.moved.get(subject, ()) for subject in subjects)


def points_of(item: ScoreItem, side: str, have: Recorded, tables: Tables) -> Points:
    """Return the points of an item on a side."""
    if item.gate:
        shut = _gate(item, side, have, tables)
        if shut is not None:
            return shut
    value = _value(item, side, have, tables)
    if value.value is None:
        return Points(None, "", value.used, value.missing)
    points = _points(item, value.value, tables)
    return Points(points, f"{value.text}: {plain(points)}", value.used, ())


def _gate(item: ScoreItem, side: str, have: Recorded, tables: Tables) -> Points | None:
    """Return 0 points, or what is missing, where the gate motion does not let the item count."""
    one, subject = _motion(item, item.gate, side, have, tables)
    if one.value is None or item.gate_from is None:
        return Points(None, "", (), (one.missing,))
    if one.value >= item.gate_from:
        return None
    used = (one.used,) if one.used else ()
    why = f"{named(subject, item.gate, tables)} below {plain(item.gate_from)} deg"
    return Points(Decimal(0), f"{why}: 0", used, ())


def _motion(
    item: ScoreItem, motion: str, side: str, have: Recorded, tables: Tables
) -> tuple[Got, Subject]:
    """Return a motion in the first of the item's modes that has it, else in the first mode."""
    subjects = [Subject(item.joint, item.digit, side, mode) for mode in item.modes]
    for subject in subjects:
        one = got(have.moved, subject, motion, tables)
        if one.value is not None:
            return one, subject
    return got(have.moved, subjects[0], motion, tables), subjects[0]


def _value(item: ScoreItem, side: str, have: Recorded, tables: Tables) -> _Value:
    if item.kind == _MOTION:
        return _moved(item, side, have, tables)
    place = Place(item.joint, item.item, item.digit, side)
    one = test_of(have.tests, place, tables)
    name = test_named(place, tables)
    used = (one.used,) if one.used else ()
    if one.missing:
        return _Value(None, "", used, (one.missing,))
    if one.grade is None:
        best = max(one.trials)
        return _Value(best, f"{name} {plain(best)} kgf", used, ())
    if one.grade.step != _PLAIN:
        why = f"{name}: grade {one.grade.grade} has no place in it, whole grades only"
        return _Value(None, "", used, (why,))
    return _Value(one.grade.ordinal, f"{name} {one.grade.grade}", used, ())


def _moved(item: ScoreItem, side: str, have: Recorded, tables: Tables) -> _Value:
    motions = [item.item, item.less] if item.less else [item.item]
    found = [_motion(item, motion, side, have, tables) for motion in motions]
    used = tuple(one.used for one, _ in found if one.used)
    missing = tuple(one.missing for one, _ in found if one.missing)
    if missing:
        return _Value(None, "", used, missing)
    values = [one.value or Decimal(0) for one, _ in found]
    name = named(found[0][1], item.item, tables)
    if item.less:
        return _Value(values[0] - values[1], f"arc of {name}", used, ())
    return _Value(values[0], name, used, ())


def _points(item: ScoreItem, value: Decimal, tables: Tables) -> Decimal:
    if item.how == LINEAR and item.factor is not None:
        points = max(Decimal(0), value * item.factor)
        if item.cap is not None:
            points = min(item.cap, points)
        return points.quantize(Decimal(1), ROUND_FLOOR) if item.whole else points
    rows = tables.score_points[item.computation, item.order]
    return next(
        row.points
        for row in rows
        if row.floor is None or value > row.floor or (row.inclusive and value == row.floor)
    )
