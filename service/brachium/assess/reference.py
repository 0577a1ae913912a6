"""Which published values fit a motion of one patient, and the interval made of them.

Where a study of the same mode prints a spread, the interval is its mean and 1.96 standard
deviations to either side. Everywhere else it is this service's own convention, not a published
normal range: less motion stands out below the lowest published mean or median that fits age, sex
and mode, by more than the measurement error of the joint (handbook values stand in where no study
fits: they are goals rather than means); more motion stands out only beyond the highest value that
is published for anybody, by as much. Rows from memory take part only when a site asks for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from brachium.assess.errors import error_of
from brachium.assess.options import MEMORY

if TYPE_CHECKING:
    from brachium.tables.load import Tables
    from brachium.tables.rows import MeasurementError, Range

RANGE_RULE = "reference-range/1.1"
SPREAD_RULE = "reference-spread/1.0"
# AAOS 1965, 1994: the handbook whose full range a deficit is counted from
HANDBOOK = "AAOS"
_ANY = "any"
_BOOK = "handbook"
# the middle 95 % of a normal distribution; our own choice of how far out stands out
_SPREADS = Decimal("1.96")


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """What a value is held against. ``low`` and ``high`` are in ``unit`` or absent.

    ``text`` says where the interval comes from; ``sources`` name the publications; ``rule`` is rule
    id and version; ``evidence`` is memory when any figure in it is. ``spread`` is the published
    group with a standard deviation, ``book`` the handbook's full range, if there is one.
    """

    rule: str
    text: str
    sources: tuple[str, ...]
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    spread: Range | None = None
    book: Range | None = None
    is_end: bool = False
    evidence: str = "own"


@lru_cache(maxsize=16384)
def reference(
    joint: str,
    motion: str,
    arm_position: str,
    mode: str,
    sex: str,
    youngest: int,
    oldest: int,
    tables: Tables,
    *,
    memory: bool = False,
) -> Reference | None:
    """Return the reference of a motion for one patient, or ``None`` where nothing trusted fits.

    ``youngest`` and ``oldest`` are the completed years that the dates allow: a row must fit both.
    """
    anybody = [
        row
        for row in tables.ranges.get((joint, motion), ())
        if (memory or row.evidence != MEMORY)
        and row.arm_position == arm_position
        and row.mode in (_ANY, mode)
    ]
    fitting = [
        row
        for row in anybody
        if row.sex in (_ANY, sex) and row.age_from <= youngest and oldest <= row.age_to
    ]
    if not fitting:
        return None
    is_end = tables.motions[joint, motion].measure == "end"
    book = _book(anybody)
    if spread := _spread(fitting, mode):
        return _by_spread(spread, book, tables.edition, is_end=is_end)
    error = error_of(joint, tables, memory=memory)
    return _by_error(fitting, anybody, book, error, tables.edition, is_end=is_end)


def _book(rows: Sequence[Range]) -> Range | None:
    books = [row for row in rows if row.statistic == _BOOK]
    return next((row for row in books if row.source == HANDBOOK), books[0] if books else None)


def _spread(rows: Iterable[Range], mode: str) -> Range | None:
    """The narrowest group of the same mode with a standard deviation, the larger of two alike."""
    groups = [row for row in rows if row.sd and row.mode == mode]
    return min(groups, key=lambda row: (row.age_to - row.age_from, -(row.n or 0)), default=None)


def _by_spread(spread: Range, book: Range | None, edition: str, *, is_end: bool) -> Reference:
    reach = _SPREADS * (spread.sd or 0)
    return Reference(
        rule=SPREAD_RULE,
        text=(
            f"{_named([spread])}, standard deviation {spread.sd:f} deg, {spread.n} people aged "
            f"{spread.age_from} to {spread.age_to}: {_SPREADS} deviations to either side. "
            f"{_warned([spread])}Reference set {edition}, rule {SPREAD_RULE}"
        ),
        sources=(spread.source,),
        unit="deg",
        low=spread.value - reach,
        high=spread.value + reach,
        spread=spread,
        book=book,
        is_end=is_end,
        evidence=spread.evidence,
    )


def _by_error(
    fitting: Sequence[Range],
    anybody: Sequence[Range],
    book: Range | None,
    error: MeasurementError | None,
    edition: str,
    *,
    is_end: bool,
) -> Reference:
    means = [row for row in fitting if row.statistic != _BOOK]
    basis = means or fitting
    if error is None or error.value is None:
        text = f"Published: {_named(fitting)}. {_warned(fitting)}"
        return Reference(RANGE_RULE, text.strip(), _sources(basis), "deg", book=book, is_end=is_end)
    least, most = _ends(basis, fitting, anybody, is_end=is_end)
    low, high = sorted((least, most))
    used = [row for row in anybody if row in basis or row.value in (least, most)]
    return Reference(
        rule=RANGE_RULE,
        text=_warned([*used, error]) + _explained(basis, most, error, edition),
        sources=(*_sources(used), error.source),
        unit="deg",
        low=low - error.value,
        high=high + error.value,
        book=book,
        is_end=is_end,
        evidence=MEMORY if MEMORY in (error.evidence, *(row.evidence for row in used)) else "own",
    )


def _ends(
    basis: Sequence[Range], fitting: Sequence[Range], anybody: Sequence[Range], *, is_end: bool
) -> tuple[Decimal, Decimal]:
    """Return the value of least and of most motion; an end of extension counts the other way."""
    if is_end:
        # straight is full by every handbook, whatever a group's mean
        return max(row.value for row in (*basis, *fitting)), min(row.value for row in anybody)
    return min(row.value for row in basis), max(row.value for row in anybody)


def _explained(basis: Sequence[Range], most: Decimal, error: MeasurementError, edition: str) -> str:
    return (
        f"Published for this age, sex and mode: {_named(basis)}; most motion published for "
        f"anybody: {most:f} deg. Either end widened by {error.value:f} deg measurement error "
        f"({error.source}: figure for any instrument, one examiner). Own convention of this "
        f"service, reference set {edition}, rule {RANGE_RULE}"
    )


def _warned(rows: Iterable[Range | MeasurementError]) -> str:
    recalled = any(row.evidence == MEMORY for row in rows)
    return "Figures from memory, not read in a publication. " if recalled else ""


def _named(rows: Iterable[Range]) -> str:
    return "; ".join(f"{row.statistic} {row.value:f} deg ({row.source})" for row in rows)


def _sources(rows: Iterable[Range]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.source for row in rows))
