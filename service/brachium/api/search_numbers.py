"""Quantities in searches: a number means the interval that its digits leave open (3.1.1.4.11)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from brachium.store.criteria import Amount

_NUMBER = re.compile(
    r"(?P<prefix>[a-z]{2})?(?P<number>-?\d{1,18}(?:\.\d{1,18})?(?:[eE][+-]?\d{1,2})?)", re.ASCII
)
_PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap")
# a number that is compared has no interval of its own (FHIR R4 search 3.1.1.4.6)
_EXACT = frozenset({"gt", "lt", "ge", "le", "sa", "eb"})
_ALLOWED = (
    "a number such as 160 or 12.5, after a prefix "
    f"({', '.join(_PREFIXES)}) or none, with |system|code or ||code behind it or nothing"
)
_APPROXIMATELY = Decimal("0.1")


def amount(value: str, unit: Sequence[str]) -> Amount:
    """Return prefix, interval and unit; ``ValueError`` with what is allowed for anything else.

    ``unit`` holds nothing, or system and code, both of which may be empty.
    """
    found = _NUMBER.fullmatch(value)
    prefix = (found and found["prefix"]) or "eq"
    if found is None or prefix not in _PREFIXES or len(unit) not in (0, 2):
        raise ValueError(_ALLOWED)
    number = Decimal(found["number"])
    half = _margin(prefix, number)
    system, code = unit or ("", "")
    return Amount(prefix, number - half, number + half, system, code)


def _margin(prefix: str, number: Decimal) -> Decimal:
    if prefix in _EXACT:
        return Decimal(0)
    exponent = number.as_tuple().exponent
    digits = Decimal(5).scaleb(int(exponent) - 1)
    # R4 leaves "approximately" to the server and names a tenth
    return max(abs(number) * _APPROXIMATELY, digits) if prefix == "ap" else digits
