"""Interleaved rounds, so that a slow minute of the machine slows every side alike."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Measured:
    """Seconds per call, one figure per round."""

    rounds: tuple[float, ...]

    @property
    def median(self) -> float:
        """The middle round, in seconds per call."""
        return statistics.median(self.rounds)

    def over(self, other: Measured) -> str:
        """Return how many times longer this takes than ``other``: median and spread by round."""
        ratios = [mine / theirs for mine, theirs in zip(self.rounds, other.rounds, strict=True)]
        return f"{statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})"


@dataclass(frozen=True)
class Side:
    """Something to measure: called ``times`` times in each round."""

    call: Callable[[], object]
    times: int


def interleaved(sides: Mapping[str, Side], rounds: int) -> dict[str, Measured]:
    """Measure every side once per round after one call to warm up."""
    for side in sides.values():
        side.call()
    taken: dict[str, list[float]] = {name: [] for name in sides}
    for _ in range(rounds):
        for name, side in sides.items():
            gc.collect()
            start = time.perf_counter()
            for _ in range(side.times):
                side.call()
            taken[name].append((time.perf_counter() - start) / side.times)
    return {name: Measured(tuple(figures)) for name, figures in taken.items()}
