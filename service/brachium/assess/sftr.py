"""SFTR notation: a plane letter and the numbers of an arc, two of them for a fixed joint.

From memory (Gerhardt and Russe 1975); nothing is judged with it. The order of the numbers belongs
to the notation, so that the plane letter takes the place of the direction.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from brachium.assess.neutral_zero import (
    Fault,
    FaultName,
    Span,
    numbers,
    plain,
    read_numbers,
    span_of,
)

_TEXT = re.compile(r"\s*([SFTR])\s*(?:\(\s*([A-Z]\s*\d{1,3})\s*\))?\s*:?\s*(\S.*)")
_FIXED, _MOVING = 2, 3


class Sftr(NamedTuple):
    """An arc in a plane (S, F, T or R); ``held`` is the position of the limb, as "F90"."""

    plane: str
    held: str
    span: Span


def write_sftr(sftr: Sftr) -> str:
    """Write an arc: "S 0-20-130", "R(F90) 90-0-80"; a joint without motion "S 0-30"."""
    away, middle, towards = numbers(sftr.span)
    fixed = sftr.span.start == sftr.span.end
    shown = (away, towards) if fixed else (away, middle, towards)
    held = f"({sftr.held})" if sftr.held else ""
    return f"{sftr.plane}{held} " + "-".join(plain(number) for number in shown)


def parse_sftr(text: str) -> Sftr | Fault:
    """Read an arc; two numbers are the one position of a fixed joint."""
    match = _TEXT.fullmatch(text)
    if match is None:
        return Fault(FaultName.NO_DIRECTION, "Say the plane: S, F, T or R")
    plane, held, figures = match.groups()
    found = read_numbers(figures)
    if isinstance(found, Fault):
        return found
    if len(found) == _MOVING:
        span = span_of(*found)
    elif len(found) == _FIXED:
        away, towards = found
        if away and towards:
            return Fault(FaultName.BOTH_SIDES, "A fixed joint has one position, the other is 0")
        place = -away if away else towards
        span = Span(place, place)
    else:
        return Fault(FaultName.COUNT, f"{len(found)} numbers, expected 3, or 2 for a fixed joint")
    return span if isinstance(span, Fault) else Sftr(plane, (held or "").replace(" ", ""), span)
