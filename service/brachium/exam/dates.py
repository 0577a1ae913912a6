"""Dates as they are posted: real calendar days, and the age between two of them."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, datetime

_OFFSET = re.compile(r"(?:Z|[+-](?:0\d|1[0-3]):[0-5]\d|[+-]14:00)$")


def real_moment(text: str) -> bool:
    """Tell whether a date-time names a moment that exists, with an offset of at most 14 hours.

    FHIR R4 dateTime allows offsets from -14:00 to +14:00.
    """
    if not _OFFSET.search(text):
        return False
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def real_day(text: str) -> bool:
    """Tell whether a FHIR R4 date (year, year-month or full) is in the calendar."""
    return _span(text) is not None


def ages(birth: str, effective: str) -> tuple[int, int] | None:
    """Return the youngest and oldest completed age that a birth date allows at an examination.

    A birth date without day or month leaves a span. ``None`` when a date is not real or the
    birth lies after the examination.
    """
    span = _span(birth)
    if span is None or not real_moment(effective):
        return None
    day = date.fromisoformat(effective[:10])
    first, last = span
    if first > day:
        return None
    return max(_completed(last, day), 0), _completed(first, day)


def _completed(birth: date, day: date) -> int:
    return day.year - birth.year - ((day.month, day.day) < (birth.month, birth.day))


def _span(text: str) -> tuple[date, date] | None:
    parts = [int(part) for part in text.split("-")]
    try:
        if len(parts) == 3:
            day = date(*parts)
            return day, day
        first, last = (parts[1], parts[1]) if len(parts) > 1 else (1, 12)
        return date(parts[0], first, 1), date(parts[0], last, monthrange(parts[0], last)[1])
    except (ValueError, IndexError):
        return None
