"""The measures of one patient through all exams, in the order of the time of the exams.

One series per measure: the same joint, digit, side, motion or test, mode, arm position, method and
body position. Each value is held against the exam before in which the measure was taken, and
against the first. Where the last record was made in another way, that is said instead.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.change import Change, compare, differing, unit_of, way_said
from brachium.assess.visits import Matter, Reading, Taken, Visit, Wanted, Way, readings
from brachium.assess.wording import named, place_in_order, topic

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

_EVERYTHING = Wanted()
Order = tuple[object, ...]


class Point(NamedTuple):
    """One value of a series.

    ``since_previous`` and ``since_first`` are ``None`` for the first value. ``unlike`` speaks of a
    later exam than the previous one, that took the measure in another way.
    """

    taken: Taken
    since_previous: Change | None
    since_first: Change | None
    unlike: Change | None


class Series(NamedTuple):
    """One measure: ``points`` with values, ``gaps`` where its mode and arm position had none.

    ``unit`` is a word of units.csv; values and changes are in it. Empty for a grade.
    """

    matter: Matter
    way: Way
    name: str
    unit: str
    points: tuple[Point, ...]
    gaps: tuple[Taken, ...]


class Trend(NamedTuple):
    """``visits`` in the order of time; ``unread`` are findings that the tables do not know.

    ``unread`` pairs the id of an exam with the key of a finding.
    """

    visits: tuple[Visit, ...]
    series: tuple[Series, ...]
    unread: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class _Line:
    """A series that grows: ``order`` is the number of the visit with the last value."""

    name: str
    place: Order
    points: list[Point] = field(default_factory=list)
    order: int = -1


_Lines = dict[Way, _Line]


@dataclass(slots=True)
class _Growing:
    """Everything seen so far; each visit is looked at once."""

    tables: Tables
    lines: dict[Matter, _Lines] = field(default_factory=dict)
    gaps: dict[tuple[Matter, str, str], list[Reading]] = field(default_factory=dict)
    unread: list[tuple[str, str]] = field(default_factory=list)


def trend(
    visits: Iterable[tuple[Visit, Sequence[Leaf]]], tables: Tables, wanted: Wanted = _EVERYTHING
) -> Trend:
    """Return the series of one patient; the order of ``visits`` does not matter. Pure."""
    ordered = sorted(visits, key=_moment)
    growing = _Growing(tables)
    for order, (visit, leaves) in enumerate(ordered):
        _grow(growing, order, visit, readings(visit, leaves, wanted, tables))
    return Trend(tuple(visit for visit, _ in ordered), _finished(growing), tuple(growing.unread))


def _moment(one: tuple[Visit, Sequence[Leaf]]) -> tuple[datetime, str]:
    # exams of one moment have no order in time: their ids give them one that never changes
    return datetime.fromisoformat(one[0].effective), one[0].exam


def _grow(growing: _Growing, order: int, visit: Visit, found: Iterable[Reading | str]) -> None:
    """Add one visit: first every comparison with what was before it, then its own values."""
    taken: dict[tuple[Matter, Way], Reading] = {}
    unread = []
    for one in found:
        if isinstance(one, str):
            unread.append((visit.exam, one))
            continue
        key = (one.matter, one.way)
        taken[key] = _twice(taken[key], one) if key in taken else one
    growing.unread += sorted(unread)
    _add_gaps(growing, [one for one in taken.values() if one.taken.value is None])
    added = [(_line(growing, one), one) for one in taken.values() if one.taken.value is not None]
    points = [(line, _point(growing, line, one)) for line, one in added]
    for line, point in points:
        line.points.append(point)
        line.order = order


def _add_gaps(growing: _Growing, gaps: list[Reading]) -> None:
    # gaps of one exam that differ in method alone stand together: in an order of their own
    for one in sorted(gaps, key=lambda one: (one.way, one.taken.finding)):
        place = (one.matter, one.way.mode, one.way.arm_position)
        growing.gaps.setdefault(place, []).append(one)


def _twice(before: Reading, one: Reading) -> Reading:
    """Two values of one measure in one exam are none: which one holds would be a guess."""
    keys = sorted((before.taken.finding, one.taken.finding))
    said = "recorded more than once, and which one holds would be a guess"
    return before._replace(taken=before.taken._replace(finding=keys[0], value=None, said=said))


def _line(growing: _Growing, one: Reading) -> _Line:
    lines = growing.lines.setdefault(one.matter, {})
    line = lines.get(one.way)
    if line is None:
        line = lines[one.way] = _new_line(one, growing.tables)
    return line


def _new_line(one: Reading, tables: Tables) -> _Line:
    about = topic(one.leaf)
    name = f"{named(about, one.matter.side, tables)} ({way_said(one.way, tables)})"
    sides = ("right", "left")
    place = (*place_in_order(about, tables), sides.index(one.matter.side), *one.way)
    return _Line(name, place)


def _point(growing: _Growing, line: _Line, one: Reading) -> Point:
    tables, taken = growing.tables, one.taken
    previous = first = None
    if line.points:
        context = (one.matter, one.way)
        previous = compare(*context, line.points[-1].taken, taken, line.name, tables)
        start = line.points[0].taken
        first = compare(*context, start, taken, line.name, tables) if line.points[1:] else previous
    return Point(taken, previous, first, _unlike(growing.lines[one.matter], line, one, tables))


def _unlike(lines: _Lines, own: _Line, one: Reading, tables: Tables) -> Change | None:
    """Speak of the last record in another way, where it is later than the last in this way."""
    others = [
        (line.order, -_distance(way, one.way), way, line.points[-1].taken)
        for way, line in lines.items()
        if line.order > own.order
    ]
    if not others:
        return None
    *_, way, taken = max(others, key=lambda other: other[:3])
    return differing(own.name, taken, one.taken, way, one.way, tables)


def _distance(one: Way, other: Way) -> int:
    return sum(a != b for a, b in zip(one, other, strict=True))


def _finished(growing: _Growing) -> tuple[Series, ...]:
    found: list[tuple[Order, Series]] = []
    for matter, lines in growing.lines.items():
        unit = unit_of(matter, growing.tables)
        for way, line in lines.items():
            gaps = growing.gaps.get((matter, way.mode, way.arm_position), ())
            taken = tuple(one.taken for one in gaps)
            series = Series(matter, way, line.name, unit, tuple(line.points), taken)
            found.append((line.place, series))
    return tuple(series for _, series in sorted([*found, *_only_gaps(growing)], key=_place))


def _only_gaps(growing: _Growing) -> Iterable[tuple[Order, Series]]:
    """Yield the measures that no exam has a value of."""
    for (matter, mode, arm), gaps in growing.gaps.items():
        measured = growing.lines.get(matter, {})
        if all((way.mode, way.arm_position) != (mode, arm) for way in measured):
            about = topic(gaps[0].leaf)
            name = named(about, matter.side, growing.tables)
            place = _new_line(gaps[0], growing.tables).place
            way = Way(mode, arm, "", "")
            unit = unit_of(matter, growing.tables)
            yield place, Series(matter, way, name, unit, (), tuple(one.taken for one in gaps))


def _place(one: tuple[Order, Series]) -> Order:
    return one[0]
