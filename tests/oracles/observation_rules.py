"""What the conformance rows ask of every Observation (OBS-01 to OBS-04, OBS-07, OBS-16)."""

from __future__ import annotations

from collections.abc import Iterator

from tests.oracles.book import UCUM, Book
from tests.oracles.definitions import Json
from tests.oracles.graph import Graph
from tests.oracles.reading import has_value, is_panel, keys, number, observations

_CATEGORY = ("http://terminology.hl7.org/CodeSystem/observation-category", "exam")
_INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"

Found = Iterator[tuple[str, str]]


def obs_03(graph: Graph, book: Book) -> Found:
    """Every Observation has a value, a reason for having none, or members (OBS-03)."""
    for where, observation in observations(graph):
        if is_panel(observation, book):
            continue
        if not has_value(observation) and "dataAbsentReason" not in observation:
            yield where, "neither a value nor a reason for having none"
        if "valueBoolean" in observation or "valueInteger" in observation:
            yield where, "yes/no and grades are coded, not boolean or integer"


def obs_02(graph: Graph, book: Book) -> Found:  # noqa: ARG001
    """What every Observation carries (OBS-01, OBS-02)."""
    wanted = ("identifier", "status", "category", "code", "subject", "issued", "performer")
    for where, observation in observations(graph):
        missing = [name for name in wanted if not observation.get(name)]
        if missing:
            yield where, f"missing: {missing}"
        if not observation.get("code", {}).get("text"):
            yield where, "code without text"
        if "effectiveDateTime" not in observation:
            yield where, "no effectiveDateTime"
        if not any(_CATEGORY in keys(category) for category in observation.get("category", ())):
            yield where, "category exam is missing"


def obs_04(graph: Graph, book: Book) -> Found:
    """Quantities have a value, a unit in words and a UCUM code of the tables."""
    for where, resource in graph.entries:
        for quantity in _quantities(resource):
            known = (UCUM, quantity.get("code", "")) in book.displays
            if quantity.get("system") != UCUM or not known:
                yield where, f"not a UCUM unit of the tables: {quantity.get('code')!r}"
            if not quantity.get("unit") or number(quantity) is None:
                yield where, "a quantity without unit or value"


def _quantities(value: object) -> Iterator[Json]:
    if isinstance(value, dict):
        for key, member in value.items():
            if isinstance(member, dict) and (key.endswith("Quantity") or key in {"low", "high"}):
                yield member
            else:
                yield from _quantities(member)
    elif isinstance(value, list):
        for member in value:
            yield from _quantities(member)


def obs_07(graph: Graph, book: Book) -> Found:  # noqa: ARG001
    """A numeric value, its range and its interpretation agree."""
    for where, observation in observations(graph):
        value = number(observation.get("valueQuantity"))
        ranges = observation.get("referenceRange", ())
        stated = {
            code
            for concept in observation.get("interpretation", ())
            for system, code in keys(concept)
            if system == _INTERPRETATION
        }
        if stated and not ranges and value is not None:
            yield where, "an interpretation of a number without a range"
        if len(ranges) == 1 and value is not None and stated:
            low, high = number(ranges[0].get("low")), number(ranges[0].get("high"))
            if low is None and high is None:
                continue  # a reference in words: a percentile of a group, a published table
            wanted = {"N"}
            if low is not None and value < low:
                wanted = {"L", "A"}
            elif high is not None and value > high:
                wanted = {"H", "A"}
            if not stated <= wanted:
                yield where, f"{value} in {low}..{high} is not {sorted(stated)}"
