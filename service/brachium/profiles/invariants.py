"""The rules of definitions: FHIRPath by an engine, and in Python what the engine cannot do.

In Python is what would take quadratic time, what is met at every element, and what the engine
lacks (htmlChecks(), %rootResource). An expression that yields nothing holds, as HL7's own tools
have it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from typing import TYPE_CHECKING, Any, TypeAlias

from brachium.profiles import remarks
from brachium.profiles.base import Element, Rule, Type, base
from brachium.profiles.narrative import is_allowed

if TYPE_CHECKING:
    from brachium.profiles.remarks import Remarks
    from brachium.profiles.walk import Place

Json: TypeAlias = Any

# ele-1 is what the walk does at every element; dom-6 is advice
_ELSEWHERE = frozenset({"ele-1", "dom-6"})
# types whose elements are known by their path
_NAMELESS = frozenset({"BackboneElement", "Element"})


def broken(element: Element, kind: Type, value: Json, place: Place, found: Remarks) -> None:
    """Say which rules of an element and of its type do not hold."""
    for rule in _rules(element.rules, kind.name):
        native = _checked(rule.check) if rule.check else _NATIVE.get(rule.key)
        path = element.path if kind.name in _NAMELESS else kind.name
        if native:
            verdict = _worked_out(native, value, place)
        else:
            verdict = _evaluated(rule, path, value, place, found)
        if verdict is False:
            _tell(rule, place, found)
        elif verdict is None and not found.errors:
            text = f"The rule {rule.key} could not be worked out here."
            found.say(remarks.NOT_EVALUATED, place.path, text, "processing", source=rule.source)


def _tell(rule: Rule, place: Place, found: Remarks) -> None:
    text = f"The rule {rule.key} does not hold{'.' if rule.source else f': {rule.human}'}"
    remedy = f"It reads: {rule.expression}" if len(rule.expression) < _READABLE else ""
    source = rule.source or remarks.OWN
    found.say(remarks.INVARIANT, place.path, text, "invariant", remedy, source)


_READABLE = 240


@cache
def _rules(stated: tuple[Rule, ...], kind: str) -> tuple[Rule, ...]:
    known = base().types.get(kind)
    own = known.elements[0].rules if known else ()
    rules = {rule.key: rule for rule in (*stated, *own) if rule.severity == "error"}
    return tuple(rule for key, rule in rules.items() if key not in _ELSEWHERE)


@cache
def _compiled(expression: str) -> Callable[..., list[Any]]:
    import fhirpathpy
    from fhirpathpy.models import models

    compiled: Callable[..., list[Any]] = fhirpathpy.compile(expression, models["r4"], _options())
    return compiled


@cache
def _options() -> dict[str, Any]:
    from fhirpathpy.engine.nodes import ResourceNode

    def has_value(items: list[Any]) -> list[bool]:
        values = [one.data if isinstance(one, ResourceNode) else one for one in items]
        single = len(values) == 1 and values[0] is not None
        return [single and not isinstance(values[0], dict | list)]

    # the engine's own trace() prints, and a resource is nobody's to print
    return {
        "userInvocationTable": {
            "hasValue": {"fn": has_value, "arity": {0: []}},
            "trace": {
                "fn": lambda items, *_: items,
                "arity": {1: ["String"], 2: ["String", "Expr"]},
            },
        }
    }


def _evaluated(rule: Rule, path: str, value: Json, place: Place, found: Remarks) -> bool | None:
    """Return whether a rule holds; ``None`` when the engine cannot tell."""
    from fhirpathpy.engine.nodes import ResourceNode

    found.evaluate()
    create: Callable[[Json, str], Any] = ResourceNode.create_node
    context = {"resource": place.resource, "rootResource": place.root}
    try:
        node = create(value, path)
        results = _compiled(rule.expression)(node, context)
    except remarks.Enough:
        raise
    except Exception:  # noqa: BLE001 - the engine raises whatever it likes on odd input
        return None
    return all(one is True for one in results)


def _checked(check: Callable[[Json], bool]) -> Callable[[Json, Place], bool]:
    return lambda value, _: check(value)


def _worked_out(native: Callable[[Json, Place], bool], value: Json, place: Place) -> bool | None:
    """Return whether a rule holds; ``None`` for what has another shape than R4 gives it."""
    try:
        return native(value, place)
    except (AttributeError, KeyError, TypeError, ValueError):
        return None


def _extension(value: Json, _place: Place) -> bool:
    has_value = any(key.lstrip("_").startswith("value") for key in value)
    return has_value != ("extension" in value)


def _contained(value: Json) -> list[Json]:
    listed = value.get("contained", ())
    return [one for one in listed if isinstance(one, dict)] if isinstance(listed, list) else []


def _reference(value: Json, place: Place) -> bool:
    told = value.get("reference")
    if not isinstance(told, str) or not told.startswith("#") or told == "#":
        return True
    return any(one.get("id") == told[1:] for one in _contained(place.root))


def _all_used(value: Json, _place: Place) -> bool:
    inner = _contained(value)
    if not inner:
        return True
    used = set(_links(value))
    return all(f"#{one.get('id')}" in used or "#" in set(_links(one)) for one in inner)


_LINKING = frozenset({"reference", "valueUri", "valueUrl", "valueCanonical"})


def _links(value: Json) -> Iterator[str]:
    todo = [value]
    while todo:
        one = todo.pop()
        if isinstance(one, dict):
            yield from (v for k, v in one.items() if k in _LINKING and isinstance(v, str))
            todo += one.values()
        elif isinstance(one, list):
            todo += one


def _without(*names: str) -> Callable[[Json, Place], bool]:
    def holds(value: Json, _place: Place) -> bool:
        metas = (one.get("meta", {}) for one in _contained(value))
        return not any(name in meta for meta in metas for name in names)

    return holds


def _key(coding: Json) -> tuple[str, ...]:
    return (
        tuple(f"{k}={v!r}" for k, v in sorted(coding.items())) if isinstance(coding, dict) else ()
    )


def _codings(value: Json) -> set[tuple[str, ...]]:
    concept = value.get("code", {})
    listed = concept.get("coding", ()) if isinstance(concept, dict) else ()
    return {_key(one) for one in listed}


def _no_component_like_it(value: Json, _place: Place) -> bool:
    """Return whether obs-7 holds: no component has the code of a value beside it."""
    if not any(key.startswith("value") for key in value):
        return True
    own = _codings(value)
    return not any(own & _codings(part) for part in value.get("component", ()))


def _distinct(value: Json, _place: Place) -> bool:
    """Return whether bdl-7 holds: no two entries have the same address and version."""
    if value.get("type") == "history":
        return True
    told = [
        (entry["fullUrl"], _version(entry.get("resource")))
        for entry in value.get("entry", ())
        if isinstance(entry, dict) and isinstance(entry.get("fullUrl"), str)
    ]
    return len(told) == len(set(told))


def _version(resource: Json) -> str:
    meta = resource.get("meta", {}) if isinstance(resource, dict) else {}
    return str(meta.get("versionId", "")) if isinstance(meta, dict) else ""


_NATIVE: dict[str, Callable[[Json, Place], bool]] = {
    "ext-1": _extension,
    "ref-1": _reference,
    "dom-2": lambda value, _: not any("contained" in one for one in _contained(value)),
    "dom-3": _all_used,
    "dom-4": _without("versionId", "lastUpdated"),
    "dom-5": _without("security"),
    "txt-1": lambda value, _: is_allowed(value),
    "txt-2": lambda value, _: is_allowed(value),
    "qty-3": lambda value, _: "code" not in value or "system" in value,
    "obs-7": _no_component_like_it,
    "bdl-7": _distinct,
}
