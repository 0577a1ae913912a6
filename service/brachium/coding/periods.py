"""Dates as intervals: what a FHIR date says and leaves open, in UTC (FHIR R4 search 3.1.1.4.7)."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from functools import lru_cache

_YEAR, _MONTH, _DAY = 4, 7, 10
_FRACTION = re.compile(r"\.([0-9]+)")


@lru_cache(maxsize=4096)
def interval(text: str) -> str:
    """Return ``low/high``: two UTC instants around a date, dateTime or instant of FHIR R4.

    The second is no longer in the interval. A date without a time is taken in UTC. Raises
    ``ValueError`` for a text that is no date.
    """
    low, high = _ends(text)
    return f"{_instant(low)}/{_instant(high)}"


def _ends(text: str) -> tuple[datetime, datetime]:
    if len(text) > _DAY:
        moment = datetime.fromisoformat(text).astimezone(UTC)
        return moment, moment + _precision(text)
    padded = text + "-01-01"[len(text) - _YEAR :] if len(text) < _DAY else text
    day = datetime.fromisoformat(padded).replace(tzinfo=UTC)
    if len(text) == _DAY:
        return day, day + timedelta(days=1)
    months = 1 if len(text) == _MONTH else 12
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return day, day.replace(year=year, month=month + 1)


def _precision(text: str) -> timedelta:
    """Return how long an interval the digits of a time leave open; R4 has seconds at least."""
    fraction = _FRACTION.search(text)
    if fraction is None:
        return timedelta(seconds=1)
    return timedelta(milliseconds=10 ** (3 - min(len(fraction[1]), 3)))


def _instant(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z".rjust(24, "0")
