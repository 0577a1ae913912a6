"""Row types of a distance that is told as a share of another one.

Field names are the column names, as in :mod:`brachium.tables.rows`.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Ratio:
    """reference/ratios.csv, key (computation, mode): one distance over another, side by side.

    ``over`` in ``mode`` is divided by ``under`` in ``under_mode``; ``difference`` is the
    computation that compares the sides, and more than ``detectable`` stands out; ``more`` and
    ``less`` say what a larger and a smaller ratio means; ``scale`` holds the grades of
    ratio_levels.csv; ``caution`` is a sentence.
    """

    computation: str
    joint: str
    over: str
    mode: str
    under: str
    under_mode: str
    difference: str
    detectable: Decimal
    more: str
    less: str
    scale: str
    caution: str
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class RatioLevel:
    """reference/ratio_levels.csv, key (computation, grade): a grade at so many percent."""

    computation: str
    grade: str
    percent: Decimal
    source: str
    evidence: str
