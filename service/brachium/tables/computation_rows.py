"""Row types of what is computed from motions: computations, axes, windows, chains, bands, reaches.

Field names are the column names, as in :mod:`brachium.tables.rows`. ``evidence`` is seen,
secondary, memory or own; a row from memory computes nothing until it is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

# computations that belong to every axis or motion rather than to rows of a table of their own
ARC = "arc-of-motion"
LAG = "active-passive-lag"
WINDOW = "functional-window"


@dataclass(frozen=True, slots=True)
class Computation:
    """reference/computations.csv: everything that is worked out from findings.

    ``computation`` is also the concept of the result; ``phrase`` the result in running text;
    ``rule`` is id/version; ``unit`` a word of units.csv, empty for a plain number. A value becomes
    an Observation when ``exported``; the answer tells all of them.
    """

    computation: str
    label: str
    phrase: str
    rule: str
    unit: str
    source: str
    evidence: str
    exported: bool


@dataclass(frozen=True, slots=True)
class Axis:
    """reference/axes.csv, key (joint, first): two motions that are one movement, to and fro.

    ``first`` leads away from the body and is written first in neutral-zero notation, ``second``
    leads towards it; the axis counts ``second`` as positive. ``plane`` is its letter in SFTR.
    """

    joint: str
    first: str
    second: str
    plane: str
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Window:
    """reference/windows.csv: the part of an axis that daily tasks need, in degrees.

    ``motion`` is the motion that the axis counts as positive; the other one is negative.
    """

    window: str
    label: str
    joint: str
    motion: str
    low: Decimal
    high: Decimal
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Chain:
    """reference/chains.csv, key (computation, chain): joints of one digit that move as one.

    The sum of ``reach`` over ``joints`` less the sum of what ``deficit`` falls short of straight,
    in ``mode``; ``norm`` is what counts as 100 percent, in degrees; ``percent`` tells that the
    result is that percentage. ``joint`` is where the result belongs.
    """

    computation: str
    chain: str
    joint: str
    mode: str
    joints: tuple[str, ...]
    reach: str
    deficit: str
    norm: Decimal | None
    percent: bool
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Band:
    """reference/bands.csv: one word of a published grading of a chain.

    ``on`` is degrees or percent of the norm; ``rank`` counts from the best word. The word holds
    from ``floor`` upwards (above it, unless ``inclusive``); no floor means everything below. An
    empty ``word`` is a stretch for which no word was read.
    """

    computation: str
    chain: str
    scheme: str
    rank: int
    on: str
    floor: Decimal | None
    inclusive: bool
    word: str
    source: str
    evidence: str


@dataclass(frozen=True, slots=True)
class Reach:
    """reference/reaches.csv: what is said of a motion that is a grade or a distance.

    ``compares`` makes the result right minus left, else it is the grade of one side; more than
    ``threshold`` stands out. From grade ``counts_from`` on the lower ones must be possible too.
    ``against`` is a motion of the same joint that a normal grade contradicts unless it is 0.
    ``more`` and ``less`` say what a larger and a smaller value means; ``step`` names one unit of a
    scale; ``caution`` is a sentence.
    """

    computation: str
    joint: str
    motion: str
    compares: bool
    threshold: Decimal | None
    counts_from: Decimal | None
    against: str
    more: str
    less: str
    step: str
    caution: str
    source: str
    evidence: str
