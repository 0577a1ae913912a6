"""Primitive values: JSON form and grammar of each R4 primitive type (R4 datatypes 2.24.0.1)."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any

from brachium.profiles.base import base

_RANGES = {
    "integer": (-(2**31), 2**31 - 1),
    "unsignedInt": (0, 2**31 - 1),
    "positiveInt": (1, 2**31 - 1),
}
_DATES = ("date", "dateTime", "instant")
_DAY = len("2026-01-01")
# the expression of base64Binary takes exponential time on what is nearly right
_BASE64 = re.compile(r"[0-9A-Za-z+/=\s]*")
MOST_TEXT = 1024 * 1024


def fault(kind: str, value: Any) -> str:  # noqa: ANN401 - JSON
    """Return what is wrong with a value as this type, in words of ours; empty when nothing is."""
    if kind == "boolean":
        return "" if isinstance(value, bool) else "true or false belongs here"
    if kind == "decimal":
        fits = isinstance(value, int | float | Decimal) and not isinstance(value, bool)
        return "" if fits else "a number belongs here"
    if kind in _RANGES:
        least, most = _RANGES[kind]
        whole = isinstance(value, int) and not isinstance(value, bool)
        fits = whole and least <= value <= most
        return "" if fits else f"a whole number from {least} to {most} belongs here"
    if not isinstance(value, str):
        return f"a text belongs here ({kind})"
    return _text(kind, value)


def _text(kind: str, value: str) -> str:
    if not value or len(value) > MOST_TEXT:
        return "an empty text is no value" if not value else "the text is too long"
    wanted = _grammar(kind)
    if wanted is not None and not wanted.fullmatch(value):
        return f"the text does not have the form of a {kind}"
    if kind in _DATES and len(value) >= _DAY and not _is_day(value[:_DAY]):
        return "there is no such day"
    return ""


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


@cache
def _grammar(kind: str) -> re.Pattern[str] | None:
    if kind == "base64Binary":
        return _BASE64
    known = base().types.get(kind)
    # text of any kind: nothing to match but that there is some
    if known is None or not known.regex or kind in ("string", "markdown", "xhtml"):
        return None
    return re.compile(known.regex)
