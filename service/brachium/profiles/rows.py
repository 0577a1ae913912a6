"""The words in which profiles are written: one row constrains one element."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple, TypeAlias

from brachium.profiles.base import Rule, Slicing, Type

Json: TypeAlias = Any


class Row(NamedTuple):
    """A constraint on the element ``id``; ``None`` and empty members leave what the base says.

    ``set`` is ("fixedUri", value) or ("patternCodeableConcept", value); ``values`` the canonical
    URL of a value set, which is required to hold the code.
    """

    id: str
    least: int | None = None
    most: str | None = None
    types: tuple[Type, ...] = ()
    set: tuple[str, Json] | None = None
    values: str = ""
    slicing: Slicing | None = None
    rules: tuple[Rule, ...] = ()
    words: str = ""


class Profile(NamedTuple):
    """One StructureDefinition before it is written: ``base`` is the R4 type it constrains.

    ``contexts`` say where an extension may stand, and are empty for a resource.
    """

    name: str
    title: str
    words: str
    base: str
    rows: tuple[Row, ...]
    contexts: tuple[str, ...] = ()


def refers(*targets: str) -> tuple[Type, ...]:
    """Return the type of a reference to one of the R4 types."""
    return (Type("Reference", targets),)


def kinds(*codes: str) -> tuple[Type, ...]:
    """Return plain types."""
    return tuple(Type(code) for code in codes)


def none(*ids: str) -> tuple[Row, ...]:
    """Return rows for elements that never occur."""
    return tuple(Row(one, 0, "0") for one in ids)


def needed(*ids: str) -> tuple[Row, ...]:
    """Return rows for elements that always occur, once."""
    return tuple(Row(one, 1, "1") for one in ids)


def coded(place: str, slot: str, system: str, values: str, words: str) -> tuple[Row, ...]:
    """Return rows for a CodeableConcept with exactly one coding of ours beside any others.

    Picked by system, because the order of codings carries no meaning (OBS-06).
    """
    one = f"{place}.coding:{slot}"
    return (
        Row(f"{place}.coding", 1, slicing=Slicing("value", "system")),
        Row(one, 1, "1", values=values, words=words),
        Row(f"{one}.system", 1, set=("fixedUri", system)),
        Row(f"{one}.code", 1),
    )


def extensions(place: str, *slots: tuple[str, str, int, str]) -> tuple[Row, ...]:
    """Return rows for extensions (slice, URL, minimum, maximum); other ones are allowed."""
    rows = [Row(f"{place}.extension", slicing=Slicing("value", "url"))]
    for name, url, least, most in slots:
        one = f"{place}.extension:{name}"
        rows.append(Row(one, least, most, (Type("Extension", profiles=(url,)),)))
        rows.append(Row(f"{one}.url", set=("fixedUri", url)))
    return tuple(rows)


def joined(*parts: Iterable[Row]) -> tuple[Row, ...]:
    """Return the rows of all parts in their order."""
    return tuple(row for part in parts for row in part)
