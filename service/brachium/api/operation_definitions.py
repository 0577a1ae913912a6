"""OperationDefinition resources of our own operations (matrix CAP-08), made of their rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from brachium.api.served import CHANGED, OPERATIONS, Operation

if TYPE_CHECKING:
    from brachium.api.definitions import Material


def identity(operation: Operation) -> str:
    """Return the id of the OperationDefinition of a row."""
    return f"{operation.type or 'System'}-{operation.name}"


def definition(canonical: str, operation: Operation) -> str:
    """Return the canonical URL that defines an operation: HL7's, or our own."""
    return operation.definition or f"{canonical}/OperationDefinition/{identity(operation)}"


def resources(material: Material) -> Iterator[Mapping[str, Any]]:
    """Yield an OperationDefinition for each operation that HL7 does not define."""
    for one in OPERATIONS:
        if not one.definition:
            yield _resource(material, one)


def _resource(material: Material, one: Operation) -> dict[str, Any]:
    found: dict[str, Any] = {
        "resourceType": "OperationDefinition",
        "id": identity(one),
        "url": definition(material.canonical, one),
        "version": material.version,
        "name": "".join(part[:1].upper() + part[1:] for part in identity(one).split("-")),
        "title": f"${one.name}",
        "status": "active",
        "kind": "operation",
        "experimental": False,
        "date": CHANGED,
        "description": one.words,
        "affectsState": one.writes,
        "code": one.name,
        "system": "system" in one.levels,
        "type": "type" in one.levels,
        "instance": "instance" in one.levels,
    }
    if one.type:
        found["resource"] = [one.type]
    if one.parameters:
        found["parameter"] = [one_parameter(row) for row in one.parameters]
    return found


def one_parameter(row: tuple[str, str, str, int, str, str]) -> dict[str, Any]:
    """Return a parameter of an operation from its row."""
    name, use, kind, least, most, words = row
    return {
        "name": name,
        "use": use,
        "min": least,
        "max": most,
        "documentation": words,
        "type": kind,
    }
