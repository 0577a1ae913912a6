"""Dates and times as ranges of an index: where to look for what a period can meet.

A range may hold too much, and never too little; ``date_meets`` has the last word on every row.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.records import DATES
from brachium.store.conditions import UPDATED, Condition

if TYPE_CHECKING:
    from brachium.store.criteria import Period

_FIRST, _LAST = "", "~"
# after every stored ``low/high`` that begins with the instant before it
_WITH_END = "/~"
TIME = "exam_version.recorded"
VALUE = "ordered.value"
# the end of a stored ``low/high``, and what says that there is one: the words of an index
_END = "substr(ordered.value, 26)"
_HAS_END = "substr(ordered.value, 25, 1) = '/'"


class Range(NamedTuple):
    """A part of an index: from one text to another, both of them in it."""

    column: str
    low: str
    high: str

    @property
    def condition(self) -> Condition:
        """The range as a condition on a row of the index."""
        also = f" AND {_HAS_END}" if self.column == _END else ""
        return Condition(f"{self.column} BETWEEN ? AND ?{also}", (self.low, self.high))


def range_of(parameter: str, period: Period) -> Range | None:
    """Return where everything is that meets a period; ``None`` where that may be anywhere.

    The prefixes are those of FHIR R4 search 3.1.1.4.5.
    """
    if period.prefix == "ne":
        return None
    if parameter == UPDATED:
        return _of_time(period)
    return _of_date(period) if parameter in DATES else None


def _of_time(period: Period) -> Range:
    """The range of single instants."""
    prefix, start, end = period
    low = {"gt": end, "sa": end, "lt": _FIRST, "eb": _FIRST, "le": _FIRST}.get(prefix, start)
    high = {"gt": _LAST, "sa": _LAST, "ge": _LAST, "lt": start, "eb": start}.get(prefix, end)
    return Range(TIME, low, high)


def _of_date(period: Period) -> Range:
    """The range of intervals: by their beginnings where those are bounded, else by their ends."""
    prefix, start, end = period
    if prefix in ("gt", "ge", "ap"):
        return Range(_END, end if prefix == "gt" else start, _LAST)
    low = {"eq": start, "sa": end}.get(prefix, _FIRST)
    high = {"eq": end, "le": end, "sa": _LAST}.get(prefix, start)
    return Range(VALUE, low, high + _WITH_END)
