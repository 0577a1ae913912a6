"""Small questions that several oracles ask of an Observation."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from tests.oracles.book import Book
from tests.oracles.definitions import Json
from tests.oracles.graph import Graph

LATERALITY = "http://hl7.org/fhir/StructureDefinition/observation-structureLaterality"
STATUS_REASON = "http://hl7.org/fhir/StructureDefinition/event-statusReason"
ORDINAL = "http://hl7.org/fhir/StructureDefinition/ordinalValue"
_SIDE_WORDS = re.compile(r"\b(left|right|both)\b", re.IGNORECASE)


def observations(graph: Graph) -> Iterator[tuple[str, Json]]:
    """Yield (fullUrl, Observation) for every Observation of an exam."""
    return ((url, r) for url, r in graph.entries if r.get("resourceType") == "Observation")


def codings(concept: Any) -> list[Json]:
    """Return the codings of a CodeableConcept; none when there is no concept."""
    return list(concept.get("coding", ())) if isinstance(concept, dict) else []


def keys(concept: Any) -> set[tuple[str, str]]:
    """Return (system, code) of every coding of a CodeableConcept."""
    return {(c.get("system", ""), c.get("code", "")) for c in codings(concept)}


def own_code(concept: Any, book: Book) -> str:
    """Return the code of our own system, or an empty string."""
    return next((code for system, code in keys(concept) if system == book.own), "")


def has_value(observation: Json) -> bool:
    """Return whether any value[x] is present."""
    return any(re.match(r"value[A-Z]", key) for key in observation)


def number(quantity: Any) -> Decimal | None:
    """Return the value of a Quantity."""
    value = quantity.get("value") if isinstance(quantity, dict) else None
    return None if value is None else Decimal(str(value))


def component(observation: Json, code: str, book: Book) -> Json | None:
    """Return the component with this own code."""
    parts = observation.get("component", ())
    return next((part for part in parts if own_code(part.get("code"), book) == code), None)


def is_panel(observation: Json, book: Book) -> bool:
    """Return whether an Observation is a panel, by its members or by its code."""
    code = own_code(observation.get("code"), book)
    return "hasMember" in observation or code.startswith("panel-")


def is_calculated(observation: Json, book: Book) -> bool:
    """Return whether the method says that the value was computed."""
    return own_code(observation.get("method"), book).startswith("method-calculated")


def side_in_words(text: str) -> str:
    """Return left, right, both or nothing, by the words of a text."""
    words = {word.lower() for word in _SIDE_WORDS.findall(text)}
    return "both" if len(words) > 1 else next(iter(words), "")


def stated_sides(observation: Json, book: Book) -> Iterator[tuple[str, str]]:
    """Yield (place, side) for every coded statement of the side."""
    site = observation.get("bodySite", {})
    for extension in site.get("extension", ()):
        if extension.get("url") == LATERALITY:
            stated = keys(extension.get("valueCodeableConcept"))
            yield from (("bodySite.extension", book.sides.get(key, "unknown")) for key in stated)
    for place, concept in (("bodySite", site), ("code", observation.get("code", {}))):
        for coding in codings(concept):
            key = (coding.get("system", ""), coding.get("code", ""))
            named = side_in_words(coding.get("display", "")) if key[0] != book.own else ""
            for side in {book.sides.get(key, ""), named} - {""}:
                yield place, side
    for identifier in observation.get("identifier", ()):
        tail = str(identifier.get("value", "")).rsplit("/", 1)[-1]
        if tail in {"left", "right"}:
            yield "identifier", tail
