"""Trials of a force on one side: mean and best of three, best of what there is, and variation.

Means and bests of three are published, so they are given for exactly three trials and named as
such. The coefficient of variation (n-1) says nothing of motive (SHECHTMAN_2000); it stands out
when trials vary more than those of 95 of 100 adults without pain.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.cutoffs import fitting, passed
from brachium.assess.derived import Derived, Used
from brachium.assess.measured import sentence, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.tested import limits_said, named
from brachium.tables.strength_rows import BEST, BEST_OF, MEAN, VARIATION

if TYPE_CHECKING:
    from brachium.assess.tested import Place, Tested, Tests, Whose
    from brachium.tables.load import Tables

THREE = 3
_CENT = Decimal("0.01")
_TENTH = Decimal("0.1")


class _Said(NamedTuple):
    text: str
    value: Decimal | None = None
    flagged: bool = False
    sources: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def mean_of(trials: tuple[Decimal, ...]) -> Decimal:
    """Return the mean of some trials, unrounded."""
    return sum(trials, Decimal(0)) / len(trials)


def variation_of(trials: tuple[Decimal, ...]) -> Decimal | None:
    """Return the coefficient of variation in percent, by n-1; ``None`` for a mean of 0.

    Needs two trials at least.
    """
    mean = mean_of(trials)
    if not mean:
        return None
    squares = sum(((trial - mean) ** 2 for trial in trials), Decimal(0))
    return (squares / (len(trials) - 1)).sqrt() * 100 / mean


def summaries(tests: Tests, whose: Whose, tables: Tables) -> tuple[Derived, ...]:
    """Return mean, best and variation of every force that was measured."""
    found: list[Derived] = []
    for place, one in tests.items():
        if one.trials and one.used:
            used = (one.used,)
            made = _summaries(place, one.trials, one.limited, whose, tables)
            found.extend(derived._replace(used=used) for derived in made)
        elif one.results:
            found.extend(_twice(place, one, tables))
    return tuple(found)


@lru_cache(maxsize=4096)
def _summaries(
    place: Place,
    trials: tuple[Decimal, ...],
    limited: tuple[str, ...],
    whose: Whose,
    tables: Tables,
) -> tuple[Derived, ...]:
    limits = limits_said(limited, tables)
    best = max(trials)
    if len(trials) == THREE:
        mean = tidy(mean_of(trials).quantize(_CENT))
        said = [
            (MEAN, _Said(f"{plain(mean)} kgf{limits}", mean)),
            (BEST, _Said(f"{plain(best)} kgf{limits}", tidy(best))),
        ]
    else:
        why = _not_three(place, trials, tables)
        said = [(name, _Said(f"not given{limits}; {why}", missing=(why,))) for name in (MEAN, BEST)]
    made = [_derived(name, place, place.test, one, tables) for name, one in said]
    if len(trials) != THREE:
        count = f"{len(trials)} trials" if len(trials) > 1 else "1 trial"
        one = _Said(f"of {count} {plain(best)} kgf{limits}", tidy(best))
        made.append(_derived(BEST_OF, place, f"{place.test}-of-{len(trials)}", one, tables))
    varied = _variation(place, trials, whose, tables)
    return *made, _derived(VARIATION, place, place.test, varied, tables)


def _not_three(place: Place, trials: tuple[Decimal, ...], tables: Tables) -> str:
    return f"{named(place, tables)}: 3 trials are needed, {len(trials)} recorded"


def _variation(place: Place, trials: tuple[Decimal, ...], whose: Whose, tables: Tables) -> _Said:
    if len(trials) < THREE:
        why = _not_three(place, trials, tables)
        return _Said(f"not given; {why}", missing=(why,))
    varied = variation_of(trials)
    if varied is None:
        why = f"{named(place, tables)}: the mean is 0"
        return _Said(f"not given; {why}", missing=(why,))
    value = varied.quantize(_TENTH)
    text = f"{value:f} % (coefficient of variation, n-1)"
    rows = fitting(VARIATION, place.joint, place.test, whose, tables)
    over = passed(rows, "above", {"%": varied})
    for row in over:
        text += f", above {plain(row.value)} % ({row.source}): {row.meaning}. {row.caution}"
    return _Said(text, tidy(value), bool(over), tuple(row.source for row in rows))


def _twice(place: Place, one: Tested, tables: Tables) -> tuple[Derived, ...]:
    if tables.strength[place.joint, place.test].measure != "force":
        return ()
    said = _Said(f"not given; {one.missing}", missing=(one.missing,))
    return tuple(_derived(name, place, place.test, said, tables) for name in (MEAN, BEST))


def _derived(name: str, place: Place, qualifier: str, said: _Said, tables: Tables) -> Derived:
    row = tables.computations[name]
    used: tuple[Used, ...] = ()
    return Derived(
        name=name,
        rule=row.rule,
        joint=place.joint,
        digit=place.digit,
        side=place.side,
        qualifier=qualifier,
        statement=sentence(f"{named(place, tables)}: {row.phrase} {said.text}".rstrip(".")),
        sources=tuple(dict.fromkeys((row.source, *said.sources))),
        evidence=row.evidence,
        used=used,
        value=said.value,
        unit=row.unit,
        flagged=said.flagged,
        missing=said.missing,
    )
