"""JSON text from Python values. Decimals leave with the digits they came with (NEG-06)."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import orjson


def number(value: Decimal) -> str:
    """Return a JSON number with the digits of ``value``; never in exponent notation."""
    text = str(value)
    return format(value, "f") if "E" in text else text


def fragment(value: Decimal) -> orjson.Fragment:
    """Return ``value`` as something that :func:`dump` writes as a JSON number, digits kept.

    Serves as ``default`` of orjson: ``TypeError`` for what is no Decimal.
    """
    if not isinstance(value, Decimal):
        raise TypeError(type(value).__name__)
    return orjson.Fragment(number(value))


def dump(value: Any) -> str:  # noqa: ANN401
    """Return compact JSON text of dicts, lists, strings, booleans, integers and fragments."""
    return orjson.dumps(value).decode()


def members(value: dict[str, Any]) -> str:
    """Return the members of an object without its braces: ``"a":1,"b":2``."""
    return dump(value)[1:-1]


def inside(text: str) -> str:
    """Return ``text`` escaped for use inside a JSON string, without the quotation marks."""
    return dump(text)[1:-1]
