"""A change whose stamp was overtaken by an export is carried out again, with a later one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

from brachium.intake.desk import Desk, later
from brachium.store.port import Overtaken

T = TypeVar("T")


def stamped(desk: Desk, change: Callable[[Desk], T]) -> T:
    """Return what a change becomes at a desk whose clock is ahead of every export.

    An export promises that everything stored up to its moment is in it. What was on its way then
    and is in no export gets a stamp after that moment, so that the next export has it.
    """
    while True:
        try:
            return change(desk)
        except Overtaken as overtaken:
            desk = _after(desk, overtaken.moment)


def _after(desk: Desk, moment: str) -> Desk:
    clock = desk.clock
    return replace(desk, clock=lambda: later(clock(), moment))
