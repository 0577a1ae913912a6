"""Dates in searches and histories: a prefix, and every precision is an interval (3.1.1.4.7)."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from brachium.coding.periods import LAST, around, instant
from brachium.store.criteria import Period

PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap")
_VALUE = re.compile(r"([a-z]{2})?(.*)", re.ASCII)
# how far back "approximately" reaches
_EARLIEST = datetime(1, 1, 2, tzinfo=UTC)
_ALLOWED = (
    "a date such as 2026, 2026-03, 2026-03-02 or 2026-03-02T09:15Z, as precise as wanted, after a "
    f"prefix ({', '.join(PREFIXES)}) or none"
)


def period(value: str) -> Period:
    """Return prefix and interval; ``ValueError`` with what is allowed for anything else.

    A time without a zone, and a date, are taken as UTC: the service has no local time. What is
    approximate (ap) has as much room again before and behind.
    """
    found = _VALUE.fullmatch(value)
    prefix = (found and found[1]) or "eq"
    if found is None or prefix not in PREFIXES:
        raise ValueError(_ALLOWED)
    try:
        # the plus sign of an address that was not escaped arrives as a space
        low, high = around(found[2].replace(" ", "+"))
    except (ValueError, OverflowError):
        raise ValueError(_ALLOWED) from None
    if prefix == "ap":
        room = high - low
        low = low - room if low - _EARLIEST > room else _EARLIEST
        high = high + room if LAST - high > room else LAST
    return Period(prefix, instant(low), instant(high))
