"""Measured values as plain numbers on the axis they are judged on."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brachium.exam.findings import Motion, Quantity
    from brachium.tables.rows import Unit

_SIGN = {"short-of-straight": 1, "straight": 0, "beyond-straight": -1}


def end_position(finding: Motion) -> Decimal | None:
    """Return an end of extension on the flexion-positive axis, or ``None`` when none is recorded.

    0 is straight, positive is short of straight, negative is beyond straight (msk-ext-1). The
    digits are those of the magnitude.
    """
    if finding.end is None:
        return None
    sign = _SIGN[finding.end]
    if finding.magnitude is None or sign == 0 or not finding.magnitude.value:
        return Decimal(0)
    value = finding.magnitude.value
    return value if sign > 0 else -value


def in_base_unit(quantity: Quantity, unit: Unit) -> Decimal:
    """Return the value in the base unit of its dimension; exact for the base unit itself."""
    return quantity.value if unit.factor == 1 else quantity.value * unit.factor
