"""SearchParameter resources of our own search parameters (matrix CAP-10), made of their rows.

Their names begin with a hyphen, so that no later standard parameter can be called the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from brachium.api.search_parameters import OWN, Parameter
from brachium.api.served import CHANGED

if TYPE_CHECKING:
    from brachium.api.definitions import Material


def identity(kind: str, parameter: Parameter) -> str:
    """Return the id of the SearchParameter of a row."""
    return f"{kind}-{parameter.name.removeprefix('-')}"


def address(canonical: str, kind: str, parameter: Parameter) -> str:
    """Return the canonical URL of the SearchParameter of a row."""
    return f"{canonical}/SearchParameter/{identity(kind, parameter)}"


def resources(material: Material) -> Iterator[Mapping[str, Any]]:
    """Yield a SearchParameter for each of our own parameters."""
    for kind, parameters in OWN.items():
        for one in parameters:
            yield _resource(material, kind, one)


def _resource(material: Material, kind: str, one: Parameter) -> dict[str, Any]:
    name = "".join(part.capitalize() for part in identity(kind, one).split("-"))
    return {
        "resourceType": "SearchParameter",
        "id": identity(kind, one),
        "url": address(material.canonical, kind, one),
        "version": material.version,
        "name": name,
        "status": "active",
        "experimental": False,
        "date": CHANGED,
        "description": one.words,
        "code": one.name,
        "base": [kind],
        "type": one.type,
        "expression": one.expression,
        "xpathUsage": "normal",
        "multipleOr": True,
        "multipleAnd": True,
        "modifier": list(one.modifiers),
    }
