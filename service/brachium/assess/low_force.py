"""The highest force against the cut-off that is published for older people (EWGSOP2).

Only for the ages of the rows (from 60), only from sides without pain, swelling, wound and the like,
and never more than "consistent with": a low grip is no diagnosis.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.cutoffs import fitting, passed
from brachium.assess.derived import Derived
from brachium.assess.measured import sentence, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.tested import OTHER, Place, Whose, named, test_of
from brachium.tables.strength_rows import LOW_FORCE

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from brachium.assess.tested import Tests
    from brachium.tables.load import Tables
    from brachium.tables.strength_rows import Cutoff


class _Side(NamedTuple):
    """One side: its best trial and how many there were, or why it does not count."""

    side: str
    best: Decimal | None
    trials: int
    reasons: tuple[str, ...]


def low_forces(
    tests: Tests, whose: Whose, unfit: Mapping[str, tuple[str, ...]], tables: Tables
) -> tuple[Derived, ...]:
    """Hold the highest force of the fit sides against the cut-off, for every test that has one."""
    found: list[Derived] = []
    for place in dict.fromkeys(
        one._replace(side="both") for one, test in tests.items() if test.trials
    ):
        if not _speaks(place, whose, tables):
            continue
        sides, used = [], []
        for side in OTHER:
            one = test_of(tests, place._replace(side=side), tables)
            reasons = unfit[side] or ((one.missing,) if one.missing else ())
            best = None if reasons else max(one.trials)
            sides.append(_Side(side, best, len(one.trials), reasons))
            if one.used and best is not None:
                used.append(one.used)
        made = _derived(place, tuple(sides), whose, tables)
        found.append(made._replace(used=tuple(used)))
    return tuple(found)


@lru_cache(maxsize=1024)
def _speaks(place: Place, whose: Whose, tables: Tables) -> bool:
    """Tell whether a cut-off exists for the age, whatever the sex."""
    sexes = {row.sex for row in tables.cutoffs.get(LOW_FORCE, ())}
    return any(
        fitting(LOW_FORCE, place.joint, place.test, whose._replace(sex=sex), tables)
        for sex in sexes
    )


@lru_cache(maxsize=4096)
def _derived(place: Place, sides: tuple[_Side, ...], whose: Whose, tables: Tables) -> Derived:
    made = tables.computations[LOW_FORCE]
    rows = fitting(LOW_FORCE, place.joint, place.test, whose, tables)
    fit = [one for one in sides if one.best is not None]
    left_out = [f"{one.side}: {', '.join(one.reasons)}" for one in sides if one.best is None]
    missing: tuple[str, ...] = ()
    if not rows:
        missing = (f"{named(place, tables)}: the cut-offs are published for men and women only",)
    elif not fit:
        missing = (f"{named(place, tables)}: no side is fit for a cut-off ({'; '.join(left_out)})",)
    top = max(fit, key=lambda one: one.best or 0, default=None)
    value = top.best if top and not missing else None
    low = value is not None and bool(passed(rows, "below", {"kg": value}))
    if value is None or top is None:
        text = f"{made.phrase} not held against a cut-off; {'; '.join(missing)}"
    else:
        text = _said(made.phrase, top, value, low, rows[0])
        text = f"not counted {'; '.join(left_out)}; {text}" if left_out else text
    return Derived(
        name=LOW_FORCE,
        rule=made.rule,
        joint=place.joint,
        digit=place.digit,
        side="both",
        qualifier=place.test,
        statement=sentence(f"{named(place, tables)}: {text}"),
        sources=tuple(dict.fromkeys((made.source, *(row.source for row in rows)))),
        evidence=made.evidence,
        used=(),
        value=None if value is None else tidy(value),
        unit=made.unit,
        interpretation=None if value is None else ("L" if low else "N"),
        flagged=low,
        low=rows[0].value if rows and value is not None else None,
        missing=missing,
    )


def _said(phrase: str, top: _Side, value: Decimal, low: bool, row: Cutoff) -> str:
    trials = f"best of {top.trials}" if top.trials > 1 else "one trial"
    seen = f"{phrase} {plain(value)} kgf ({top.side}, {trials})"
    if not low:
        return f"{seen}, not below {plain(row.value)} kgf ({row.source})"
    meant = f"below {plain(row.value)} kgf, consistent with {row.meaning} ({row.source})"
    return f"{seen}, {meant}. {row.caution}"
