"""Where a value stands in a group: z-score, percentile, and percentiles between published ones."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from statistics import NormalDist
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

_TENTH = Decimal("0.1")
_NORMAL = NormalDist()


class Percentile(NamedTuple):
    """A percentile; with ``comparator`` < or > it is only known to lie beyond ``value``."""

    value: Decimal
    comparator: str = ""


def z_score(value: Decimal, mean: Decimal, sd: Decimal) -> Decimal:
    """Return (value - mean) / sd, unrounded. Raises ZeroDivisionError for an sd of 0."""
    return (value - mean) / sd


def percentile_of(z: Decimal) -> Percentile:
    """Return the percentile of a z-score in a normal distribution, to a tenth.

    Nobody is at percentile 0 or 100: such a value lies below 0.1 or above 99.9. A group that is not
    normally distributed has other percentiles.
    """
    found = Decimal(_NORMAL.cdf(float(z)) * 100).quantize(_TENTH)
    if not found:
        return Percentile(_TENTH, "<")
    return Percentile(100 - _TENTH, ">") if found == 100 else Percentile(found)


def between(value: Decimal, percents: Sequence[int], values: Sequence[Decimal]) -> Percentile:
    """Return the percentile of a value, straight between neighbouring published ones, to a tenth.

    ``values`` rise and stand at ``percents``. Beyond the outermost nothing is worked out.
    """
    if value < values[0]:
        return Percentile(Decimal(percents[0]), "<")
    if value > values[-1]:
        return Percentile(Decimal(percents[-1]), ">")
    steps = zip(pairwise(percents), pairwise(values), strict=True)
    (low, high), (under, over) = next(step for step in steps if value <= step[1][1])
    return Percentile((low + (high - low) * (value - under) / (over - under)).quantize(_TENTH))
