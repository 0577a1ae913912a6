"""What can be asked of the store: searches as plain rows, without SQL and without HTTP.

The kinds of match follow the types of search parameter of FHIR R4 search 3.1.1.4; their texts have
the shapes that :class:`brachium.records.SearchValue` tells.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple, TypeAlias


class Is(NamedTuple):
    """The stored text exactly: ``system|code``, ``Type/id`` or a uri."""

    value: str


class Code(NamedTuple):
    """A token by its code, whatever its system (3.1.1.4.10)."""

    code: str


class NoSystem(NamedTuple):
    """A token by its code, without a system."""

    code: str


class System(NamedTuple):
    """Any token of a system."""

    system: str


class Period(NamedTuple):
    """A date or time (3.1.1.4.7).

    ``prefix`` is one of eq ne gt lt ge le sa eb ap; ``low`` and ``high`` are UTC instants of 24
    characters, such as ``2026-03-02T09:15:00.000Z``, the second no longer in the period.
    """

    prefix: str
    low: str
    high: str


class Amount(NamedTuple):
    """A quantity (3.1.1.4.11): the interval of the number as written, the upper end not in it.

    An empty ``system`` or ``code`` takes any.
    """

    prefix: str
    low: Decimal
    high: Decimal
    system: str
    code: str


class Text(NamedTuple):
    """A string that begins like this; stored strings are compared without case."""

    start: str


class Present(NamedTuple):
    """The parameter has a value at all (``:missing=false``), or has none."""

    present: bool


Match: TypeAlias = Is | Code | NoSystem | System | Period | Amount | Text | Present


class Criterion(NamedTuple):
    """A condition: one of ``matches`` holds for one of ``parameters``, or with ``negated`` none.

    ``parameters`` are names of the search index; ``_id`` and ``_lastUpdated`` are always there.
    """

    parameters: tuple[str, ...]
    matches: tuple[Match, ...]
    negated: bool = False


class Order(NamedTuple):
    """A parameter to sort by: a date with one value for each resource, ``_lastUpdated``, ``_id``.

    What has no value comes first, or last when ``descending``.
    """

    parameter: str
    descending: bool = False


class Search(NamedTuple):
    """Resources of a type that meet every criterion; without an order, as they arrived.

    With ``organization``, the id of an Organization, only what belongs to it is there.
    """

    type: str
    criteria: tuple[Criterion, ...] = ()
    order: tuple[Order, ...] = ()
    organization: str = ""
