"""The functions of FHIRPath and of SQL on FHIR v2 that views may use.

A path is a function from a list of items to a list of items, so everything here makes one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeAlias

import jiter

from brachium.flat.tokens import BrokenView

# JSON as the parser gives it, and a collection of it
Item: TypeAlias = Any
Path: TypeAlias = Callable[[Sequence[Item]], Sequence[Item]]

NOTHING: tuple[Item, ...] = ()
YES: tuple[Item, ...] = (True,)
NO: tuple[Item, ...] = (False,)


class BrokenRow(ValueError):
    """A resource gives what a view does not allow, such as two values where one is to be."""


def said(truth: bool | None) -> Sequence[Item]:
    """Return a truth as a collection; ``None`` is the empty one."""
    return NOTHING if truth is None else YES if truth else NO


def truth(items: Sequence[Item]) -> bool | None:
    """Return what a condition says: true, false, or ``None`` for nothing (FHIRPath N1, 4.5)."""
    if not items:
        return None
    if len(items) > 1 or not isinstance(items[0], bool):
        raise BrokenRow("a condition gave something other than true or false")
    return items[0]


def value(item: Item) -> Item:
    """Return an item that can be compared: numbers by what they are worth, not by their digits."""
    return Decimal(str(item)) if isinstance(item, jiter.LosslessFloat) else item


def member(name: str) -> Path:
    """Return the step to a member; lists are opened (FHIRPath N1, 4.1)."""

    def step(items: Sequence[Item]) -> Sequence[Item]:
        found: list[Item] = []
        for item in items:
            inner = item.get(name) if isinstance(item, dict) else None
            if isinstance(inner, list):
                found += inner
            elif inner is not None:
                found.append(inner)
        return found

    return step


def chain(first: Path, second: Path) -> Path:
    """Return one path after the other."""
    return lambda items: second(first(items))


def _where(condition: Path) -> Path:
    return lambda items: [item for item in items if truth(condition((item,)))]


def _exists(items: Sequence[Item]) -> Sequence[Item]:
    return said(bool(items))


def _empty(items: Sequence[Item]) -> Sequence[Item]:
    return said(not items)


def _first(items: Sequence[Item]) -> Sequence[Item]:
    return items[:1]


def _not(items: Sequence[Item]) -> Sequence[Item]:
    found = truth(items)
    return said(None if found is None else not found)


def _ends_with(ending: str) -> Path:
    def step(items: Sequence[Item]) -> Sequence[Item]:
        if len(items) > 1:
            raise BrokenRow("endsWith looks at one text at a time")
        return [str(item).endswith(ending) for item in items]

    return step


def _extension(url: str) -> Path:
    step = member("extension")
    return lambda items: [one for one in step(items) if one.get("url") == url]


def _resource_key(items: Sequence[Item]) -> Sequence[Item]:
    return [item["id"] for item in items]


def _reference_key(kind: str = "") -> Path:
    """Return the step to the key that a reference leads to, of this type if one is named."""

    def step(items: Sequence[Item]) -> Sequence[Item]:
        named = (str(item.get("reference", "")).split("/")[-2:] for item in items)
        return [one[1] for one in named if len(one) == 2 and kind in ("", one[0])]

    return step


@dataclass(frozen=True, slots=True)
class Function:
    """A function: how many arguments, of which kind, and what it makes of them.

    ``kind`` is ``path`` for an argument that is evaluated for each item, ``text`` for a quoted
    text, ``type`` for the name of a type.
    """

    make: Callable[..., Path]
    kind: str = ""
    least: int = 0
    most: int = 0


def _plain(step: Path) -> Function:
    return Function(lambda: step)


FUNCTIONS: Mapping[str, Function] = {
    "where": Function(_where, "path", 1, 1),
    "exists": _plain(_exists),
    "empty": _plain(_empty),
    "first": _plain(_first),
    "not": _plain(_not),
    "endsWith": Function(_ends_with, "text", 1, 1),
    "extension": Function(_extension, "text", 1, 1),
    "getResourceKey": _plain(_resource_key),
    "getReferenceKey": Function(_reference_key, "type", 0, 1),
}


def function(name: str, arguments: Sequence[Any]) -> Path:
    """Return the step that calls a function; raises ``BrokenView`` for one that is not here."""
    known = FUNCTIONS[name]
    if not known.least <= len(arguments) <= known.most:
        raise BrokenView(f"{name} does not take {len(arguments)} arguments")
    return known.make(*arguments)


def compared(left: Path, sign: str, right: Path) -> Path:
    """Return the comparison of two single values; nothing on one side gives nothing."""
    holds = _COMPARISONS[sign]

    def step(items: Sequence[Item]) -> Sequence[Item]:
        one, other = left(items), right(items)
        if not one or not other:
            return NOTHING
        if sign in ("=", "!="):
            same = [*map(value, one)] == [*map(value, other)]
            return said(same == (sign == "="))
        if len(one) > 1 or len(other) > 1:
            raise BrokenRow(f"{sign} compares one value with one other")
        return said(holds(value(one[0]), value(other[0])))

    return step


_COMPARISONS: Mapping[str, Callable[[Any, Any], bool]] = {
    "=": lambda one, other: bool(one == other),
    "!=": lambda one, other: bool(one != other),
    "<": lambda one, other: bool(one < other),
    "<=": lambda one, other: bool(one <= other),
    ">": lambda one, other: bool(one > other),
    ">=": lambda one, other: bool(one >= other),
}
SIGNS = frozenset(_COMPARISONS)


def both(left: Path, right: Path) -> Path:
    """Return ``and``: false if one is, else nothing if one is (FHIRPath N1, 6.5.1)."""

    def step(items: Sequence[Item]) -> Sequence[Item]:
        one = truth(left(items))
        if one is False:
            return NO
        other = truth(right(items))
        return NO if other is False else said(None if None in (one, other) else True)

    return step


def either(left: Path, right: Path) -> Path:
    """Return ``or``: true if one is, else nothing if one is (FHIRPath N1, 6.5.2)."""

    def step(items: Sequence[Item]) -> Sequence[Item]:
        one = truth(left(items))
        if one:
            return YES
        other = truth(right(items))
        return YES if other else said(None if None in (one, other) else False)

    return step
