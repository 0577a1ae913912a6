"""One pass over a resource along the 4.0.1 definitions: every element met, every misfit noted.

Misfits are unknown keys, wrong cardinality, a list where none belongs, a primitive of the wrong
JSON type or against its regular expression, and two choices of one ``value[x]``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from tests.oracles import schema
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import Json

ORACLE = "definitions-4.0.1"


@dataclass(frozen=True, slots=True)
class Visit:
    """An element and where it stands; ``root`` contains ``resource`` when that is contained."""

    value: Any
    where: str
    child: schema.Child
    resource: Json
    root: Json


def walk(resource: Json, where: str, faults: list[Complaint], root: Json | None = None) -> Iterator:
    """Yield a Visit for the resource and for each element below it, depth first."""
    name = str(resource.get("resourceType"))
    if not schema.known(name):
        faults.append(Complaint(ORACLE, where, f"no resource type {name!r} in 4.0.1"))
        return
    child = schema.Child(name, name, name, 1, 1)
    top = root or resource
    yield Visit(resource, where, child, resource, top)
    yield from _inside(Visit(resource, where, child, resource, top), faults)


def _inside(parent: Visit, faults: list[Complaint]) -> Iterator:
    place, value = parent.child.place, parent.value
    allowed = schema.children(place)
    _check_keys(value, place, parent.where, faults)
    for key, member in value.items():
        child = allowed.get(key.removeprefix("_"))
        if key == "resourceType" and place == value.get("resourceType"):
            continue
        if child is None or (key.startswith("_") and not child.primitive):
            faults.append(Complaint(ORACLE, f"{parent.where}.{key}", "element unknown to 4.0.1"))
            continue
        if key.startswith("_"):
            child = schema.Child(key, "Element", "Element", 0, child.most)
        yield from _member(parent, child, member, faults)


def _check_keys(value: Json, place: str, where: str, faults: list[Complaint]) -> None:
    present = {key.removeprefix("_") for key in value}
    for path, keys in schema.required(place):
        if not keys & present:
            faults.append(Complaint(ORACLE, where, f"{path} is compulsory and missing"))
    for keys in schema.choices(place):
        if len(keys & present) > 1:
            both = ", ".join(sorted(keys & present))
            faults.append(Complaint(ORACLE, where, f"only one of these may be present: {both}"))


def _member(parent: Visit, child: schema.Child, member: Any, faults: list[Complaint]) -> Iterator:
    where = f"{parent.where}.{child.name}"
    repeats = child.most != 1
    if isinstance(member, list) != repeats:
        faults.append(Complaint(ORACLE, where, "list and single value mixed up"))
        return
    items = member if repeats else [member]
    for number, item in enumerate(items):
        spot = f"{where}[{number}]" if repeats else where
        if item is None and repeats and (child.primitive or child.name.startswith("_")):
            continue
        yield from _item(parent, child, item, spot, faults)


def _item(
    parent: Visit, child: schema.Child, item: Any, where: str, faults: list[Complaint]
) -> Iterator:
    if child.primitive:
        fault = _primitive_fault(child.type, item)
        if fault:
            faults.append(Complaint(ORACLE, where, fault))
        yield Visit(item, where, child, parent.resource, parent.root)
    elif not isinstance(item, dict):
        faults.append(Complaint(ORACLE, where, f"an object ({child.type}) belongs here"))
    elif child.type == "Resource":
        contained = child.name == "contained"
        yield from walk(item, where, faults, parent.root if contained else None)
    else:
        visit = Visit(item, where, child, parent.resource, parent.root)
        yield visit
        yield from _inside(visit, faults)


_NUMBERS = {
    "integer": (-(2**31), 2**31 - 1),
    "unsignedInt": (0, 2**31 - 1),
    "positiveInt": (1, 2**31 - 1),
}


def _primitive_fault(kind: str, value: Any) -> str:
    if kind == "boolean":
        return "" if isinstance(value, bool) else "true or false belongs here"
    if kind == "decimal":
        good = isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)
        return "" if good else "a number belongs here"
    if kind in _NUMBERS:
        least, most = _NUMBERS[kind]
        good = isinstance(value, int) and not isinstance(value, bool) and least <= value <= most
        return "" if good else f"not a valid {kind}: {value!r}"
    if not isinstance(value, str):
        return f"a string ({kind}) belongs here"
    return _text_fault(kind, value)


def _text_fault(kind: str, value: str) -> str:
    wanted = schema.pattern(kind)
    if wanted is not None and not wanted.fullmatch(value):
        return f"not a valid {kind}: {value[:60]!r}"
    if kind in {"date", "dateTime", "instant"} and len(value) >= len("2026-01-01"):
        try:
            date.fromisoformat(value[:10])
        except ValueError:
            return f"no such day: {value!r}"
    return ""
