"""Which published values fit a motion of one patient, and the interval made of them.

The interval is this service's own convention, not a published normal range: the lowest and the
highest published mean or median that fits age, sex and mode, widened by the measurement error of
the joint; handbook values raise the upper end, and stand in for both where no study fits, because
they are goals rather than means. Rows from memory never take part.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.tables.load import Tables
    from brachium.tables.rows import MeasurementError, Range

RANGE_RULE = "reference-range/1.0"
_UNTRUSTED = "memory"
_ANY = "any"


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """What a value is held against. ``low`` and ``high`` are in ``unit`` or absent.

    ``text`` says where the interval comes from; ``sources`` name the publications; ``rule`` is rule
    id and version.
    """

    rule: str
    text: str
    sources: tuple[str, ...]
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None


def error_of(joint: str, tables: Tables) -> MeasurementError | None:
    """Return the same-rater measurement error of the joint, else the one for any joint."""
    rows = [
        row for row in tables.errors if row.situation == "same-rater" and row.evidence != _UNTRUSTED
    ]
    for wanted in (joint, _ANY, ""):
        for row in rows:
            if row.joint == wanted:
                return row
    return None


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
) -> Reference | None:
    """Return the reference of a motion for one patient, or ``None`` where nothing seen fits.

    ``youngest`` and ``oldest`` are the completed years that the dates allow: a row must fit both.
    """
    fitting = [
        row
        for row in tables.ranges.get((joint, motion), ())
        if row.evidence != _UNTRUSTED
        and row.arm_position == arm_position
        and row.mode in (_ANY, mode)
        and row.sex in (_ANY, sex)
        and row.age_from <= youngest
        and oldest <= row.age_to
    ]
    handbook = [row for row in fitting if row.statistic == "handbook"]
    means = [row for row in fitting if row.statistic in ("mean", "median")]
    basis = means or handbook
    error = error_of(joint, tables)
    if not basis:
        return None
    if error is None:
        return Reference(RANGE_RULE, f"Published: {_named(fitting)}", _sources(basis), "deg")
    return Reference(
        rule=RANGE_RULE,
        text=_explained(means, handbook, error, tables.edition),
        sources=(*_sources(fitting), error.source),
        unit="deg",
        low=min(row.value for row in basis) - error.value,
        # a value that reaches what handbooks call full is not called high
        high=max(row.value for row in (*means, *handbook)) + error.value,
    )


def _explained(
    means: list[Range], handbook: list[Range], error: MeasurementError, edition: str
) -> str:
    lowest = "mean or median" if means else "value"
    return (
        f"Published: {_named([*means, *handbook])}. Low: lowest {lowest} less {error.value:f} deg "
        f"measurement error ({error.source}); high: highest value and as much more. Own convention "
        f"of this service, reference set {edition}, rule {RANGE_RULE}"
    )


def _named(rows: Iterable[Range]) -> str:
    return "; ".join(f"{row.statistic} {row.value:f} deg ({row.source})" for row in rows)


def _sources(rows: Iterable[Range]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.source for row in rows))
