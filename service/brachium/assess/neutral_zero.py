"""Neutral-zero notation: an arc of motion as three numbers, written and read.

The motion away from the body comes first, then zero, then the motion towards it; where the neutral
position is not reached, zero moves to the side that cannot be reached (neutral-zero method). An arc
here is a start and an end in degrees on one axis: towards the body is positive, so a start above 0
is a deficit and a start below 0 reaches beyond neutral. Three numbers without their direction
mean two different joints, so the direction is compulsory. :mod:`brachium.assess.sftr` has the
variant with plane letters.
"""

from __future__ import annotations

import re
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

_NUMBER = re.compile(r"\d{1,3}(\.\d{1,2})?")
_BETWEEN = re.compile(r"\s*([/\u2013-])\s*")
_UNIT = re.compile(r"\s*(°|deg)$")
_FEWEST_LETTERS = 3


class Span(NamedTuple):
    """Where an arc starts and ends, in degrees on its axis; ``start`` <= ``end``."""

    start: Decimal
    end: Decimal


class FaultName(StrEnum):
    """What can be wrong with a written arc."""

    NO_DIRECTION = "no-direction"
    UNKNOWN_DIRECTION = "unknown-direction"
    NOT_A_NUMBER = "not-a-number"
    SIGNED_NUMBER = "signed-number"
    COUNT = "wrong-count"
    BOTH_SIDES = "zero-on-no-side"
    MIDDLE_ALONE = "middle-alone"
    BACKWARDS = "end-before-start"


class Fault(NamedTuple):
    """Why a text is no arc: a stable name, and a sentence."""

    name: FaultName
    message: str


def numbers(span: Span) -> tuple[Decimal, Decimal, Decimal]:
    """Return the three numbers of an arc. Raises ValueError when it ends before it starts."""
    start, end = span
    if end < start:
        raise ValueError("an arc cannot end before it starts")
    zero = Decimal(0)
    if start > 0:
        return zero, start, end
    return (-start, -end, zero) if end < 0 else (-start if start else zero, zero, end)


def write(span: Span, first: str, second: str) -> str:
    """Write an arc with its direction: "extension/flexion 0/20/130"."""
    return f"{first}/{second} " + "/".join(plain(number) for number in numbers(span))


def parse(text: str, first: str, second: str) -> Span | Fault:
    """Read an arc whose direction is named, in either order, in full or shortened.

    ``first`` leads away from the body, ``second`` towards it. "ext/flex 0/20/130" and
    "flex/ext 130/20/0" are the same arc.
    """
    at = next((place for place, letter in enumerate(text) if letter.isdigit()), len(text))
    label, figures = text[:at].strip(), text[at:]
    if label.endswith(("-", "+", "\u2013")):
        return Fault(FaultName.SIGNED_NUMBER, "The numbers of the notation have no sign")
    order = _direction(label.rstrip(": "), first, second)
    if isinstance(order, Fault):
        return order
    found = read_numbers(figures)
    if isinstance(found, Fault):
        return found
    if len(found) != len(("away", "zero", "towards")):
        return Fault(FaultName.COUNT, f"{len(found)} numbers, expected 3")
    return span_of(*found[::order])


def span_of(away: Decimal, middle: Decimal, towards: Decimal) -> Span | Fault:
    """Return the arc that three numbers stand for, first the motion away from the body."""
    if away and middle and towards:
        return Fault(FaultName.BOTH_SIDES, "Both sides are reached, so zero must be in the middle")
    if middle and not away and not towards:
        return Fault(FaultName.MIDDLE_ALONE, "A deficit without an end")
    if not middle:
        return Span(-away if away else away, towards)
    span = Span(-away, -middle) if away else Span(middle, towards)
    if span.end < span.start:
        return Fault(FaultName.BACKWARDS, "The arc ends before it starts")
    return span


def read_numbers(text: str) -> tuple[Decimal, ...] | Fault:
    """Read numbers between one kind of separator ("/" or "-")."""
    parts = _BETWEEN.split(_UNIT.sub("", text.strip()))
    figures, marks = parts[::2], set(parts[1::2])
    if any(not figure for figure in figures[:-1]):
        return Fault(FaultName.SIGNED_NUMBER, "The numbers of the notation have no sign")
    # isascii: other scripts have digits too, which nobody writes here on purpose
    if len(marks) > 1 or not all(f.isascii() and _NUMBER.fullmatch(f) for f in figures):
        return Fault(FaultName.NOT_A_NUMBER, "Not numbers with one kind of separator")
    return tuple(Decimal(figure) for figure in figures)


def plain(value: Decimal) -> str:
    """Write a number without trailing zeros and without a power of ten."""
    return format(value.normalize() if value else Decimal(0), "f")


def _direction(label: str, first: str, second: str) -> int | Fault:
    """Return 1 when the first direction is named first, -1 when it is named last."""
    words = label.split("/")
    if not label:
        return Fault(FaultName.NO_DIRECTION, f"Say {first}/{second} or {second}/{first}")
    if len(words) == len((first, second)):
        named = tuple(_names(word, first, second) for word in words)
        if named in ((first, second), (second, first)):
            return 1 if named[0] == first else -1
    return Fault(FaultName.UNKNOWN_DIRECTION, f"The direction is not {first}/{second}")


def _names(word: str, first: str, second: str) -> str:
    short = _spaced(word).rstrip(".")
    if len(short) < _FEWEST_LETTERS:
        return ""
    meant = [name for name in (first, second) if _spaced(name).startswith(short)]
    return meant[0] if len(meant) == 1 else ""


def _spaced(word: str) -> str:
    return " ".join(word.lower().replace("-", " ").split())
