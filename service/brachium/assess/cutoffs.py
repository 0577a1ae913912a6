"""From where on a computed value stands out: which cut-offs fit a patient, and which are passed."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from decimal import Decimal

    from brachium.assess.tested import Whose
    from brachium.tables.load import Tables
    from brachium.tables.strength_rows import Cutoff

_PASSES: dict[str, Callable[[Decimal, Decimal], bool]] = {
    "below": lambda value, limit: value < limit,
    "above": lambda value, limit: value > limit,
    "from": lambda value, limit: value >= limit,
}


@lru_cache(maxsize=4096)
def fitting(
    computation: str, joint: str, test: str, whose: Whose, tables: Tables
) -> tuple[Cutoff, ...]:
    """Return the cut-offs of a computed value that are made for the patient."""
    return tuple(
        row
        for row in tables.cutoffs.get(computation, ())
        if (row.joint, row.test) in ((joint, test), ("", ""))
        and row.sex in ("any", whose.sex)
        and row.age_from <= whose.youngest
        and whose.oldest <= row.age_to
    )


def passed(
    rows: Iterable[Cutoff], direction: str, values: Mapping[str, Decimal]
) -> tuple[Cutoff, ...]:
    """Return the rows of a direction when all of them are passed; ``values`` are by unit."""
    some = tuple(row for row in rows if row.direction == direction)
    return some if all(_PASSES[direction](values[row.unit], row.value) for row in some) else ()
