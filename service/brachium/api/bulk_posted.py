"""The parameters of an export that come as a Parameters resource (FHIR R4 parameters)."""

from __future__ import annotations

from typing import Any, TypeAlias

Pair: TypeAlias = tuple[str, str]


def pairs_of_parameters(body: dict[str, Any]) -> list[Pair]:
    """Return the pairs of a Parameters resource; ``ValueError`` for what is none."""
    _must(body.get("resourceType") == "Parameters", "a Parameters resource")
    listed = body.get("parameter", [])
    _must(isinstance(listed, list), "a list of parameters")
    return [_pair(one) for one in listed]


def _pair(parameter: Any) -> Pair:  # noqa: ANN401 - JSON
    named = isinstance(parameter, dict) and isinstance(parameter.get("name"), str)
    _must(named, "parameters with a name")
    given = [value for name, value in parameter.items() if name.startswith("value")]
    _must(len(given) == 1, "parameters with one value each")
    (value,) = given
    if isinstance(value, dict):
        value = value.get("reference")
    _must(isinstance(value, str), "values that are texts or references")
    return parameter["name"], value


def _must(holds: bool, allowed: str) -> None:
    if not holds:
        raise ValueError(allowed)
