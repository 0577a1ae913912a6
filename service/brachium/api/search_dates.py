"""Dates in searches and histories: every precision is an interval (FHIR R4 search 3.1.1.4.7)."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

from brachium.store.criteria import Period

PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap")
_DATE = re.compile(
    r"(?P<prefix>[a-z]{2})?(?P<year>\d{4})(?:-(?P<month>\d\d)(?:-(?P<day>\d\d)"
    r"(?:T(?P<hour>\d\d):(?P<minute>\d\d)(?::(?P<second>\d\d)(?:\.(?P<part>\d{1,9}))?)?"
    r"(?P<zone>Z|[+ -]\d\d:\d\d)?)?)?)?",
    re.ASCII,
)
_ALLOWED = (
    "a date such as 2026, 2026-03, 2026-03-02 or 2026-03-02T09:15Z, as precise as wanted, after a "
    f"prefix ({', '.join(PREFIXES)}) or none"
)
_FIRST = datetime(1, 1, 2, tzinfo=UTC)
_LAST = datetime(9999, 12, 31, 23, 59, 59, 999000, UTC)


def period(value: str) -> Period:
    """Return prefix and interval; ``ValueError`` with what is allowed for anything else.

    A time without a zone, and a date, are taken as UTC: the service has no local time. What is
    approximate (ap) has as much room again before and behind.
    """
    found = _DATE.fullmatch(value)
    if found is None or (found["prefix"] or "eq") not in PREFIXES:
        raise ValueError(_ALLOWED)
    try:
        low = _low(found)
        high = _high(low, found)
        if found["prefix"] == "ap":
            room = high - low
            low = low - room if low - _FIRST > room else _FIRST
            high = high + room if _LAST - high > room else _LAST
        return Period(found["prefix"] or "eq", _text(low), _text(high))
    except (ValueError, OverflowError):
        raise ValueError(_ALLOWED) from None


def _low(found: re.Match[str]) -> datetime:
    year, month, day = (int(found[name] or 1) for name in ("year", "month", "day"))
    hour, minute, second = (int(found[name] or 0) for name in ("hour", "minute", "second"))
    part = int((found["part"] or "0").ljust(3, "0")[:3]) * 1000
    zone = _zone(found["zone"])
    return datetime(year, month, day, hour, minute, second, part, zone).astimezone(UTC)


def _zone(zone: str | None) -> timezone:
    if zone in (None, "Z"):
        return UTC
    # the plus sign of an address that was not escaped arrives as a space
    sign = -1 if zone[0] == "-" else 1
    hours, minutes = int(zone[1:3]), int(zone[4:6])
    if hours > 14 or minutes > 59:
        raise ValueError
    return timezone(sign * timedelta(hours=hours, minutes=minutes))


def _high(low: datetime, found: re.Match[str]) -> datetime:
    """Return the end of the interval, which is no longer in it."""
    try:
        return _following(low, found)
    except (OverflowError, ValueError):
        return _LAST


def _following(low: datetime, found: re.Match[str]) -> datetime:
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


def _text(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z".rjust(24, "0")
