"""Several exams of one patient for the tests of trends: short to write, checked by the shapes."""

from __future__ import annotations

from functools import cache
from typing import Any

from tests.exam.builders import exam, party, to_json

from brachium.assess.change import Change
from brachium.assess.series import Series, Trend, trend
from brachium.assess.visits import Visit, Wanted, visit_of
from brachium.exam.leaves import Leaf, leaves
from brachium.exam.reading import reread
from brachium.tables.load import Tables, load

Posted = dict[str, Any]
Seen = tuple[Visit, tuple[Leaf, ...]]


@cache
def tables() -> Tables:
    return load()


def day(number: int) -> str:
    """A moment in 2026; a larger number is later."""
    return f"2026-{1 + number // 28:02}-{1 + number % 28:02}T10:00:00+01:00"


def seen(number: int, *findings: Posted, **header: Any) -> Seen:
    """One exam as the store would give it back; ``status`` is that of its version."""
    status = header.pop("status", "final")
    header.setdefault("effective", day(number))
    content = to_json(exam(*findings, **header))
    read = reread(content, tables())
    visit = visit_of(read, f"EX-{number}", 1, status, "preliminary")
    return visit, leaves(read, tables())


def by(value: str) -> Posted:
    """The header of an exam by another examiner."""
    return {"examiner": party(value)}


def course(*visits: Seen, **wanted: str) -> Trend:
    return trend(visits, tables(), Wanted(**wanted))


def only(found: Trend, **what: str) -> Series:
    """The one series whose matter and way have these words."""
    some = [
        one
        for one in found.series
        if all(getattr(one.matter, k, getattr(one.way, k, None)) == v for k, v in what.items())
    ]
    assert len(some) == 1, [one.name for one in some]
    return some[0]


def verdicts(series: Series) -> list[str]:
    """What is said of each value since the one before."""
    return [one.since_previous.verdict for one in series.points[1:] if one.since_previous]


def last(found: Trend, **what: str) -> Change:
    """The change since the exam before of the last value of a series."""
    change = only(found, **what).points[-1].since_previous
    assert change is not None
    return change
