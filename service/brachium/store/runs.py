"""Keys in runs: numbers that follow each other are told by the first and the last."""

from __future__ import annotations

from collections.abc import Iterable


def runs(keys: Iterable[int]) -> list[tuple[int, int]]:
    """Return (first, last) of each run, in the order of the keys."""
    found: list[list[int]] = []
    for key in keys:
        if found and key == found[-1][1] + 1:
            found[-1][1] = key
        else:
            found.append([key, key])
    return [(first, last) for first, last in found]
