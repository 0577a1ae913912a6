"""Numbers as they were written: which are taken, and how they are written out again.

A value keeps its digits (150 stays 150, 12.50 stays 12.50) and never passes through binary
floating point; FHIR R4 decimal says that the precision of a number is part of its meaning.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from pydantic_core import PydanticCustomError

MOST_DIGITS = 12
_BOUND = 10**MOST_DIGITS
_TOP_RATING = 10


def plain_number(value: Any) -> Decimal:  # noqa: ANN401 - whatever JSON held at this place
    """Return the number as a Decimal, or raise the pydantic error that says why not.

    Taken: JSON numbers of at most 12 digits in all, without a power of ten that hides digits
    (1e2), and zero without a sign. A quoted number is text and refused.
    """
    if type(value) is int:
        if -_BOUND < value < _BOUND:
            return Decimal(value)
        raise PydanticCustomError("number_digits", "too many digits")
    if type(value) is not Decimal:
        raise PydanticCustomError("number_type", "not a number")
    _, digits, exponent = value.as_tuple()
    if not isinstance(exponent, int) or exponent > 0:
        raise PydanticCustomError("number_exponent", "hidden digits")
    if len(digits) > MOST_DIGITS or exponent < -MOST_DIGITS:
        raise PydanticCustomError("number_digits", "too many digits")
    if value.is_signed() and not value:
        raise PydanticCustomError("number_zero", "signed zero")
    return value


def rating(value: Any) -> Decimal:  # noqa: ANN401 - whatever JSON held at this place
    """Return a severity from 0 to 10; raises as :func:`plain_number` does."""
    number = plain_number(value)
    if 0 <= number <= _TOP_RATING:
        return number
    raise PydanticCustomError("rating_range", "outside 0 to 10")


def written(value: Decimal) -> str:
    """Write a number with all its digits and without a power of ten."""
    return format(value, "f")
