"""The 4.0.1 StructureDefinitions, turned into what a walk over JSON needs: child elements by key.

An element is known by its *place*: a type name ("Quantity") or, for what is defined inside another
structure, its path ("Observation.component").
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache

from tests.oracles.definitions import Json, structure

_FHIRPATH_TYPE = "http://hl7.org/fhirpath/System."
_TYPE_EXTENSION = "http://hl7.org/fhir/StructureDefinition/structuredefinition-fhir-type"
_REGEX_EXTENSION = "http://hl7.org/fhir/StructureDefinition/regex"
_ANY = "http://hl7.org/fhir/StructureDefinition/Resource"


@dataclass(frozen=True, slots=True)
class Child:
    """One JSON key that an element may have. ``most`` is None for an unbounded list."""

    name: str
    type: str
    place: str
    least: int
    most: int | None
    targets: frozenset[str] = frozenset()
    binding: str = ""
    constraints: tuple[Json, ...] = field(default=(), hash=False)

    @property
    def primitive(self) -> bool:
        """Whether the value is a JSON primitive."""
        return self.type[0].islower()


@cache
def _elements(name: str) -> dict[str, Json]:
    definition = structure(name)
    if definition is None:
        return {}
    return {e["path"]: e for e in definition["snapshot"]["element"]}


@cache
def known(place: str) -> bool:
    """Return whether 4.0.1 defines a resource or data type of this name."""
    return bool(_elements(place.split(".")[0]))


@cache
def root_constraints(place: str) -> tuple[Json, ...]:
    """Return the invariants that the type itself carries."""
    element = _elements(place.split(".")[0]).get(place, {})
    return tuple(element.get("constraint", ()))


@cache
def children(place: str) -> dict[str, Child]:
    """Return every JSON key that may stand at ``place``, choice types spelt out."""
    found: dict[str, Child] = {}
    depth = place.count(".") + 1
    for path, element in _elements(place.split(".")[0]).items():
        if path.startswith(place + ".") and path.count(".") == depth:
            found.update((child.name, child) for child in _spell_out(path, element))
    return found


@cache
def required(place: str) -> tuple[tuple[str, frozenset[str]], ...]:
    """Return (element name, keys that satisfy it) for every compulsory element of ``place``."""
    groups: dict[str, set[str]] = {}
    depth = place.count(".") + 1
    for path, element in _elements(place.split(".")[0]).items():
        if path.startswith(place + ".") and path.count(".") == depth and element["min"] > 0:
            groups[path] = {child.name for child in _spell_out(path, element)}
    return tuple((path, frozenset(keys)) for path, keys in groups.items())


@cache
def choices(place: str) -> tuple[frozenset[str], ...]:
    """Return the groups of keys of which at most one may be present (``value[x]``)."""
    groups = []
    depth = place.count(".") + 1
    for path, element in _elements(place.split(".")[0]).items():
        if path.endswith("[x]") and path.startswith(place + ".") and path.count(".") == depth:
            groups.append(frozenset(child.name for child in _spell_out(path, element)))
    return tuple(groups)


@cache
def pattern(primitive: str) -> re.Pattern[str] | None:
    """Return the regular expression that 4.0.1 gives for a primitive type, if it gives one."""
    value = _elements(primitive).get(f"{primitive}.value", {})
    for kind in value.get("type", ()):
        for extension in kind.get("extension", ()):
            if extension["url"] == _REGEX_EXTENSION:
                return re.compile(extension["valueString"])
    return None


def _spell_out(path: str, element: Json) -> list[Child]:
    name = path.rsplit(".", 1)[1]
    most = None if element["max"] == "*" else int(element["max"])
    if "contentReference" in element:
        place = element["contentReference"].lstrip("#")
        return [Child(name, "BackboneElement", place, element["min"], most)]
    return [_child(path, name, element, kind, most) for kind in element.get("type", ())]


def _child(path: str, name: str, element: Json, kind: Json, most: int | None) -> Child:
    code = _type_code(kind)
    if name.endswith("[x]"):
        name = name[:-3] + code[0].upper() + code[1:]
    binding = element.get("binding", {})
    return Child(
        name=name,
        type=code,
        place=path if code in {"BackboneElement", "Element"} else code,
        least=element["min"],
        most=most,
        targets=frozenset(
            "*" if url == _ANY else url.rsplit("/", 1)[1] for url in kind.get("targetProfile", ())
        ),
        binding=binding.get("valueSet", "") if binding.get("strength") == "required" else "",
        constraints=tuple(element.get("constraint", ())),
    )


def _type_code(kind: Json) -> str:
    code: str = kind["code"]
    if not code.startswith(_FHIRPATH_TYPE):
        return code
    for extension in kind.get("extension", ()):
        if extension["url"] == _TYPE_EXTENSION:
            return str(extension["valueUrl"])
    return "string"
