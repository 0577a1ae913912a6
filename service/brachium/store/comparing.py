"""Comparisons of dates and quantities for SQL (FHIR R4 search 3.1.1.4.5 to 3.1.1.4.11)."""

from __future__ import annotations

import sqlite3
from decimal import Decimal
from functools import lru_cache

# after every millisecond of the same moment, and before the next one
_JUST_AFTER = "~"


def date_meets(value: str | None, prefix: str, start: str, end: str) -> bool:
    """Tell whether a stored ``low/high`` stands to the period [start, end) as the prefix says.

    A single instant is an interval of no length. Whoever asks "approximately" has widened the
    period, so that an overlap is enough.
    """
    if value is None:
        return False
    low, slash, high = value.partition("/")
    high = high if slash else low[:-1] + _JUST_AFTER
    contained = start <= low and high <= end
    if prefix == "eq":
        return contained
    if prefix == "ne":
        return not contained
    if prefix in ("gt", "ge"):
        return high > end or (prefix == "ge" and contained)
    if prefix in ("lt", "le"):
        return low < start or (prefix == "le" and contained)
    if prefix == "sa":
        return low >= end
    return high <= start if prefix == "eb" else low < end and high > start


def amount_meets(
    value: str | None, prefix: str, low: str, high: str, system: str, code: str
) -> bool:
    """Tell whether a stored ``value|system|code`` meets an amount; the two bounds are decimals.

    A measured value is taken as a point; the interval is that of the number asked for, and has no
    length where the prefix compares.
    """
    if value is None:
        return False
    number, of_system, of_code = value.split("|", 2)
    if (system and system != of_system) or (code and code != of_code):
        return False
    there, start, end = _decimal(number), _decimal(low), _decimal(high)
    if prefix in ("eq", "ne"):
        return (start <= there < end) is (prefix == "eq")
    if prefix in ("gt", "sa"):
        return there > end
    if prefix in ("lt", "eb"):
        return there < start
    if prefix == "ap":
        return start <= there <= end
    return there >= start if prefix == "ge" else there <= end


@lru_cache(maxsize=4096)
def _decimal(text: str) -> Decimal:
    return Decimal(text)


def teach(db: sqlite3.Connection) -> None:
    """Make both comparisons known to SQL."""
    db.create_function("date_meets", 4, date_meets, deterministic=True)
    db.create_function("amount_meets", 6, amount_meets, deterministic=True)
