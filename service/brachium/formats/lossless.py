"""JSON read and written with every number as it was written.

A measured 12.50 says more than 12.5: FHIR R4 (json 2.6.2.3) wants the precision kept, and no binary
float keeps it.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import jiter
import orjson

# JSON of any shape, as the parser gives it
Json: TypeAlias = Any


def parse(text: bytes) -> Json:
    """Return the value of JSON ``text``; fractions become objects that keep their digits.

    Raises ``ValueError`` for what is not JSON and for members given twice.
    """
    return jiter.from_json(text, float_mode="lossless-float", catch_duplicate_keys=True)


def write(value: Json) -> bytes:
    """Return ``value`` (made by :func:`parse`, or of plain types without floats) as JSON text."""
    return orjson.dumps(value, default=_digits)


def _digits(value: Json) -> orjson.Fragment:
    if isinstance(value, jiter.LosslessFloat):
        return orjson.Fragment(bytes(value))
    raise TypeError(type(value).__name__)
