"""How often and how many at once: requests a minute for each client, and at a time for all."""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Callable

MINUTE = 60.0


class Rate:
    """Counts requests in windows of one minute; ``most`` is the limit of each who asks.

    The counts of all are dropped together when a minute ends, so they stay as few as those who
    asked in it.
    """

    def __init__(self, most: int, timer: Callable[[], float] = time.monotonic) -> None:
        self._most = most
        self._timer = timer
        self._begun = timer()
        self._counts: Counter[str] = Counter()

    def wait(self, who: str) -> int:
        """Count one request; return 0, or the seconds to wait when it is one too many."""
        passed = self._timer() - self._begun
        if passed >= MINUTE:
            self._begun += MINUTE * (passed // MINUTE)
            passed %= MINUTE
            self._counts.clear()
        self._counts[who] += 1
        return math.ceil(MINUTE - passed) if self._counts[who] > self._most else 0


class Places:
    """So many requests may be under way at the same time."""

    def __init__(self, most: int) -> None:
        self._free = most

    def take(self) -> bool:
        """Take a place; false when there is none."""
        if self._free <= 0:
            return False
        self._free -= 1
        return True

    def give_back(self) -> None:
        """Give a taken place back."""
        self._free += 1
