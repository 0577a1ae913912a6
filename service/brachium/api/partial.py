"""Resources in part: _summary and _elements (FHIR R4 search 3.1.1.5.8, 3.1.1.5.9)."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from functools import cache
from typing import Any, TypeAlias

from brachium.api.summary_elements import ALWAYS, FACTS
from brachium.formats import lossless

Json: TypeAlias = Any
# a member that may have one of several types carries the name of its type (FHIR R4 formats 2.6.1.4)
_CHOICE = re.compile(
    "([a-z][A-Za-z]*?)(Age|Annotation|Attachment|Boolean|Canonical|Code|CodeableConcept|Coding|Date"
    "|DateTime|Decimal|Identifier|Instant|Integer|Period|Quantity|Range|Ratio|Reference|SampledData"
    "|String|Time|Timing|Uri)"
)
SUBSETTED = {
    "system": "http://terminology.hl7.org/CodeSystem/v3-ObservationValue",
    "code": "SUBSETTED",
    "display": "subsetted",
}


def part_of(text: bytes, kind: str, summary: str, elements: Collection[str]) -> bytes:
    """Return the JSON text of the part that is wanted; the whole text when that is everything.

    What is left out is told by the tag SUBSETTED; numbers keep their digits.
    """
    if summary in ("false", "count") and not elements:
        return text
    resource = lossless.parse(text)
    if elements:
        resource = _members(resource, {*elements, *_needed(kind)})
    if summary == "true":
        resource = _summary(resource, "", _paths(kind))
    elif summary == "text":
        resource = _members(resource, {"text", *_needed(kind)})
    elif summary == "data":
        resource = {name: value for name, value in resource.items() if name != "text"}
    return lossless.write(_tagged(resource))


def _tagged(resource: Mapping[str, Json]) -> dict[str, Json]:
    """Put the tag in; meta stays behind type and id, where it stood."""
    meta = resource.get("meta", {})
    tagged = {**meta, "tag": [*meta.get("tag", ()), SUBSETTED]}
    first = {name: resource[name] for name in ("resourceType", "id") if name in resource}
    return {**first, "meta": tagged, **{k: v for k, v in resource.items() if k != "meta"}}


def _members(resource: Mapping[str, Json], names: Collection[str]) -> dict[str, Json]:
    return {name: value for name, value in resource.items() if _plain(name, names) in names}


def _plain(name: str, names: Collection[str]) -> str:
    """Return the element a member stands for: status for _status, value[x] for valueQuantity."""
    bare = name.removeprefix("_")
    if bare in names:
        return bare
    chosen = _CHOICE.fullmatch(bare)
    asked = (chosen[1], f"{chosen[1]}[x]") if chosen else ()
    return next((one for one in asked if one in names), bare)


@cache
def _needed(kind: str) -> frozenset[str]:
    """Return the members that a part always has: a part without its status would mislead."""
    facts = FACTS[kind]
    return frozenset({*ALWAYS, *facts.mandatory.split(), *facts.modifiers.split()})


@cache
def _paths(kind: str) -> frozenset[str]:
    return frozenset({*ALWAYS, *FACTS[kind].summary.split()})


def _summary(value: Json, prefix: str, paths: frozenset[str]) -> Json:
    """Keep what is in the summary; an element none of whose parts is named keeps them all."""
    if isinstance(value, list):
        return [_summary(item, prefix, paths) for item in value]
    if not isinstance(value, dict) or not _has_parts(prefix, paths):
        return value
    inner = frozenset(path.removeprefix(prefix) for path in paths if path.startswith(prefix))
    found = {}
    for name, part in value.items():
        path = _plain(name, inner)
        if path in inner or (prefix and path in ("id", "extension", "modifierExtension")):
            found[name] = _summary(part, f"{prefix}{path}.", paths)
    return found


def _has_parts(prefix: str, paths: frozenset[str]) -> bool:
    return not prefix or any(path.startswith(prefix) for path in paths)
