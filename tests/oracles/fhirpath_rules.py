"""The invariants of the 4.0.1 definitions: compiled FHIRPath, or Python where FHIRPath falls short.

Every error-level invariant that a visited element carries is evaluated one way or the other. An
expression that yields nothing is a pass, as the specification's own tooling treats it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

import fhirpathpy
from fhirpathpy.engine.nodes import ResourceNode
from fhirpathpy.models import models
from tests.oracles import schema
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import Json
from tests.oracles.narrative import html_faults
from tests.oracles.walk import Visit

ORACLE = "invariants"

# Not judged, with the reason.
NOT_JUDGED = {
    "dom-6": "a warning (narrative as best practice); that reports carry one is checked elsewhere",
}


def _not_empty(visit: Visit) -> bool:
    if not isinstance(visit.value, dict):
        return visit.value is not None and visit.value != ""
    return any(key not in {"id", "resourceType"} for key in visit.value)


def _extension_or_value(visit: Visit) -> bool:
    value = any(key.lstrip("_").startswith("value") for key in visit.value)
    return value != ("extension" in visit.value)


def _contained_reference(visit: Visit) -> bool:
    reference = visit.value.get("reference")
    if not isinstance(reference, str) or not reference.startswith("#"):
        return True
    ids = {part.get("id") for part in visit.root.get("contained", ())}
    return reference == "#" or reference[1:] in ids


def _contained(visit: Visit) -> list[Json]:
    return [part for part in visit.value.get("contained", ()) if isinstance(part, dict)]


def _every_contained_is_used(visit: Visit) -> bool:
    used = set(_texts(visit.value, ("reference", "valueUri", "valueUrl", "valueCanonical")))
    return all(
        f"#{part.get('id')}" in used or "#" in set(_texts(part, ("reference",)))
        for part in _contained(visit)
    )


def _texts(value: Any, keys: tuple[str, ...]) -> Iterable[str]:
    if isinstance(value, dict):
        for key, member in value.items():
            if key in keys and isinstance(member, str):
                yield member
            yield from _texts(member, keys)
    elif isinstance(value, list):
        for member in value:
            yield from _texts(member, keys)


def _no_contained_meta(visit: Visit, *members: str) -> bool:
    return not any(name in part.get("meta", {}) for part in _contained(visit) for name in members)


# Rules in Python: FHIRPath functions that the engine lacks (children() on primitives, as() over a
# collection, htmlChecks(), %rootResource), or rules met so often that the engine is too slow.
NATIVE: dict[str, Callable[[Visit], bool]] = {
    "ele-1": _not_empty,
    "ext-1": _extension_or_value,
    "ref-1": _contained_reference,
    "dom-2": lambda visit: not any("contained" in part for part in _contained(visit)),
    "dom-3": _every_contained_is_used,
    "dom-4": lambda visit: _no_contained_meta(visit, "versionId", "lastUpdated"),
    "dom-5": lambda visit: _no_contained_meta(visit, "security"),
    "txt-1": lambda visit: not html_faults(visit.value),
    "txt-2": lambda visit: not html_faults(visit.value),
    "qty-3": lambda visit: "code" not in visit.value or "system" in visit.value,
}


def _has_value(items: list[Any]) -> list[bool]:
    values = [item.data if isinstance(item, ResourceNode) else item for item in items]
    return [len(values) == 1 and values[0] is not None and not isinstance(values[0], (dict, list))]


_OPTIONS = {"userInvocationTable": {"hasValue": {"fn": _has_value, "arity": {0: []}}}}


@cache
def compiled(expression: str) -> Callable[..., list[Any]]:
    """Return the compiled expression; raises for one that the engine cannot parse."""
    return fhirpathpy.compile(expression, models["r4"], _OPTIONS)


@cache
def _rules(child: schema.Child) -> tuple[tuple[str, str, str], ...]:
    """Return (key, expression, human text) of every rule of the element and of its type."""
    found = {}
    for rule in (*child.constraints, *schema.root_constraints(child.place)):
        if rule["severity"] == "error" and rule["key"] not in NOT_JUDGED:
            found[rule["key"]] = (rule["key"], rule["expression"], rule["human"])
    return tuple(found.values())


def broken_rules(visit: Visit) -> Iterable[Complaint]:
    """Yield a complaint for every invariant that the visited element breaks."""
    for key, expression, human in _rules(visit.child):
        native = NATIVE.get(key)
        verdict = native(visit) if native else _evaluate(expression, visit)
        if verdict is not True:
            message = f"{key}: {human}" if verdict is False else f"{key} not evaluable: {verdict}"
            yield Complaint(ORACLE, visit.where, message)


def _evaluate(expression: str, visit: Visit) -> bool | str:
    node = ResourceNode.create_node(visit.value, visit.child.place)
    context = {"resource": visit.resource, "rootResource": visit.root}
    try:
        result = compiled(expression)(node, context)
    except Exception as error:  # noqa: BLE001 - whatever the engine raises is reported, not hidden
        return f"{type(error).__name__}: {error}"
    return all(item is True for item in result)
