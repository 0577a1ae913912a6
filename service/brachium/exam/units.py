"""Units: what to suggest for one that is not in use, and the conversion when a site allows it.

A converted value keeps the posted one beside it, so that the record shows both (EXM-12).
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING

from brachium.exam.findings import Converted, Finding, Motion, Quantity, Strength
from brachium.exam.numbers import written
from brachium.exam.words import choose

if TYPE_CHECKING:
    from brachium.tables.load import Tables

_MOST_PLACES = 2
_ABSURD = 1_000_000  # no reading in any unit; left as it is, so that the unit is refused


def target(unit: str, accepted: tuple[str, ...], tables: Tables) -> str | None:
    """Return the first accepted unit of the same dimension as a unit that is never stored."""
    row = tables.units.get(unit)
    if row is None or row.entered:
        return None
    for word in accepted:
        other = tables.units.get(word)
        if other is not None and other.base == row.base:
            return word
    return None


def converted_value(quantity: Quantity, unit: str, tables: Tables) -> Decimal:
    """Convert, no finer than the posted digits and hundredths (2.618 rad is 150.00 deg)."""
    ratio = tables.units[quantity.unit].factor / tables.units[unit].factor
    _, _, exponent = quantity.value.as_tuple()
    places = min(max(0, -int(exponent) - ratio.adjusted()), _MOST_PLACES)
    return (quantity.value * ratio).quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def suggestion(quantity: Quantity, accepted: tuple[str, ...], tables: Tables) -> str:
    """Say which units are accepted and, when it can be worked out, what the value would be."""
    unit = target(quantity.unit, accepted, tables)
    if unit is None or abs(quantity.value) >= _ABSURD:
        return choose(quantity.unit, accepted)
    value = converted_value(quantity, unit, tables)
    meant = f"If the unit is right as posted, this is {written(value)} {unit}."
    return f"{choose(quantity.unit, accepted)} {meant}"


def convert(finding: Finding, tables: Tables) -> Finding:
    """Return the finding with every quantity in a unit that is stored, originals kept beside."""
    if isinstance(finding, Motion):
        row = tables.motions.get((finding.joint, finding.motion))
        if row is None:
            return finding
        changed = {
            name: _converted(quantity, row.units, tables)
            for name in ("angle", "magnitude", "distance")
            if (quantity := getattr(finding, name)) is not None
        }
        return finding.model_copy(update=changed)
    if isinstance(finding, Strength) and finding.trials:
        test = tables.strength.get((finding.joint, finding.test))
        if test is None:
            return finding
        trials = tuple(_converted(trial, test.units, tables) for trial in finding.trials)
        return finding.model_copy(update={"trials": trials})
    return finding


def _converted(quantity: Quantity, accepted: tuple[str, ...], tables: Tables) -> Quantity:
    unit = target(quantity.unit, accepted, tables)
    if unit is None or abs(quantity.value) >= _ABSURD:
        return quantity
    value = converted_value(quantity, unit, tables)
    return Converted(value=value, unit=unit, original=quantity)
