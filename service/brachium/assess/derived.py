"""What a value computed from findings looks like, whatever computed it.

A :class:`Derived` explains itself: rule and version, published sources, the findings it used with
the values it took from them, and, where it could not be worked out, what is missing. Nothing is
ever filled in for a missing finding.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple


class Used(NamedTuple):
    """One finding that went into a computation, and the value taken from it, in words."""

    leaf: str
    value: str


class Grading(NamedTuple):
    """A word for a value, by a published scheme: scheme name, word, source key."""

    scheme: str
    word: str
    source: str


class Derived(NamedTuple):
    """One computed value, or the reason why there is none.

    ``name`` is the code of the computation (a row of mappings/reference/computations.csv), and with
    ``joint``, ``digit``, ``side`` ("left", "right" or "both") and ``qualifier`` (mode, window,
    reference set ...) it is unique within an exam. ``value`` is in ``unit`` (a word of units.csv,
    or "" for a plain number or score); ``value`` is ``None`` exactly when ``missing`` is not
    empty. ``interpretation`` is a code of v3-ObservationInterpretation or ``None``; ``flagged``
    marks what should stand out to a reader; ``low`` and ``high`` bound the reference in ``unit``.
    ``evidence`` is seen, secondary, memory or own. With ``comparator`` "<" or ">" (codes of R4
    Quantity.comparator) nothing more is known than that the value lies below or above ``value``.
    """

    name: str
    rule: str
    joint: str
    digit: str
    side: str
    qualifier: str
    statement: str
    sources: tuple[str, ...]
    evidence: str
    used: tuple[Used, ...]
    value: Decimal | None = None
    unit: str = ""
    interpretation: str | None = None
    flagged: bool = False
    low: Decimal | None = None
    high: Decimal | None = None
    gradings: tuple[Grading, ...] = ()
    missing: tuple[str, ...] = ()
    comparator: str = ""

    @property
    def key(self) -> str:
        """A stable key within the exam. No leaf has it: a leaf key has one slash at most."""
        words = (self.name, self.joint, self.digit, self.side, self.qualifier)
        return "computed/" + "/".join(word or "-" for word in words)
