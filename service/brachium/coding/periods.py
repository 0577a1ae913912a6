"""Dates as intervals: what a date says and leaves open, in UTC (FHIR R4 search 3.1.1.4.7).

Stored dates and dates that are searched for are read by the same rules. Time begins and ends where
a date with four digits for the year does, in UTC.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache

FIRST = datetime(1, 1, 1, tzinfo=UTC)
LAST = datetime(9999, 12, 31, 23, 59, 59, 999000, UTC)
_DATE = re.compile(
    r"(?P<year>\d{4})(?:-(?P<month>\d\d)(?:-(?P<day>\d\d)"
    r"(?:T(?P<hour>\d\d):(?P<minute>\d\d)(?::(?P<second>\d\d)(?:\.(?P<part>\d{1,9}))?)?"
    r"(?P<zone>Z|[+-]\d\d:\d\d)?)?)?)?",
    re.ASCII,
)


@lru_cache(maxsize=4096)
def interval(text: str) -> str:
    """Return ``low/high``: two UTC instants of 24 characters around a date; see :func:`around`.

    What is stored has to be found: a moment that its offset takes out of time lies at its end.
    """
    try:
        low, high = around(text)
    except OverflowError:
        low = high = FIRST if text.startswith(f"{FIRST.year:04}") else LAST
    return f"{instant(low)}/{instant(high)}"


def around(text: str) -> tuple[datetime, datetime]:
    """Return the interval of a date, dateTime or instant of FHIR R4, or of a time to the minute.

    The second end is no longer in it. A date, and a time without a zone, is taken in UTC. Raises
    ``ValueError`` for a text that is no date, ``OverflowError`` for one that its offset takes out
    of time.
    """
    found = _DATE.fullmatch(text)
    if found is None:
        raise ValueError("no date")
    low = _low(found)
    try:
        return low, min(_following(low, found), LAST)
    except (OverflowError, ValueError):
        return low, LAST


def instant(moment: datetime) -> str:
    """Return a moment in UTC as 24 characters, such as ``2026-03-02T09:15:00.000Z``."""
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z".rjust(24, "0")


def _low(found: re.Match[str]) -> datetime:
    year, month, day = (int(found[name] or 1) for name in ("year", "month", "day"))
    hour, minute, second = (int(found[name] or 0) for name in ("hour", "minute", "second"))
    part = int((found["part"] or "0").ljust(3, "0")[:3]) * 1000
    zone = _zone(found["zone"])
    return datetime(year, month, day, hour, minute, second, part, zone).astimezone(UTC)


def _zone(zone: str | None) -> timezone:
    if zone in (None, "Z"):
        return UTC
    sign = -1 if zone[0] == "-" else 1
    hours, minutes = int(zone[1:3]), int(zone[4:6])
    if hours > 14 or minutes > 59:
        raise ValueError("no offset")
    return timezone(sign * timedelta(hours=hours, minutes=minutes))


def _following(low: datetime, found: re.Match[str]) -> datetime:
    """Return the beginning of the next interval of the same precision."""
    if found["part"]:
        return low + timedelta(milliseconds=10 ** (3 - min(len(found["part"]), 3)))
    for name, length in (
        ("second", timedelta(seconds=1)),
        ("minute", timedelta(minutes=1)),
        ("day", timedelta(days=1)),
    ):
        if found[name]:
            return low + length
    if not found["month"]:
        return low.replace(year=low.year + 1)
    year, month = divmod(low.year * 12 + low.month, 12)
    return low.replace(year=year, month=month + 1)
