"""Our own invariants about several findings together: computed values and panels."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from decimal import Decimal

from tests.oracles.book import Book
from tests.oracles.definitions import Json
from tests.oracles.graph import Graph
from tests.oracles.reading import (
    component,
    has_value,
    is_calculated,
    is_panel,
    keys,
    number,
    observations,
    own_code,
    stated_sides,
)

_DIFFERENCE = "-side-difference"

Found = Iterator[tuple[str, str]]


def der_1(graph: Graph, book: Book) -> Found:
    """Calculated <=> derivedFrom; the sources are here, of the same side, and give the value."""
    for where, observation in observations(graph):
        sources = [
            graph.resolve(r.get("reference", "")) for r in observation.get("derivedFrom", ())
        ]
        code = own_code(observation.get("code"), book)
        calculated = is_calculated(observation, book)
        worked_out = code in book.computed
        if bool(sources) != calculated or calculated != (worked_out or code.endswith(_DIFFERENCE)):
            yield where, "calculated method, derivedFrom and code do not go together"
        elif calculated and None in sources:
            yield where, "a source is not part of the exam"
        elif calculated:
            faults = _computed_faults if worked_out else _difference_faults
            yield from faults(where, observation, [s for s in sources if s], book)


def _computed_faults(where: str, derived: Json, sources: list[Json], book: Book) -> Found:
    sides = {side for source in sources for _, side in stated_sides(source, book)}
    stated = {side for _, side in stated_sides(derived, book)}
    if stated != ({"both"} if len(sides) > 1 else sides):
        yield where, f"about {sorted(stated)}, made of {sorted(sides)}"
    if any("derivedFrom" in source or "hasMember" in source for source in sources):
        yield where, "a source is not a finding"
    if any(not has_value(source) for source in sources):
        yield where, "a source has no value"
    words = [part for part in _parts(derived) if own_code(part.get("code"), book) == "grading"]
    if any(not part["code"].get("text") for part in words):
        yield where, "a word of a grading without the name of its scheme"
    rule = derived.get("method", {}).get("text", "")
    if f"rule {own_code(derived.get('code'), book)}/" not in rule:
        yield where, f"the method does not name its rule: {rule!r}"
    wanted = _reproduced(derived, sources, book)
    if wanted is not None and number(derived.get("valueQuantity")) != wanted:
        yield where, f"the sources give {wanted}"


def _parts(observation: Json) -> list[Json]:
    return list(observation.get("component", ()))


def _reproduced(derived: Json, sources: list[Json], book: Book) -> Decimal | None:
    """Work a value out once more from its sources, for the sums that need no table."""
    code = own_code(derived.get("code"), book)
    if not code.startswith(("arc-of-motion", "total-")):
        return None
    total = Decimal(0)
    for source in sources:
        value = number(source.get("valueQuantity")) or Decimal(0)
        if "-end-position-" in own_code(source.get("code"), book):
            # beyond straight lengthens an arc and is no bonus in a sum of digits
            total -= value if code == "arc-of-motion" else max(Decimal(0), value)
        else:
            total += value
    return total


def _difference_faults(where: str, derived: Json, sources: list[Json], book: Book) -> Found:
    code = own_code(derived.get("code"), book).removesuffix(_DIFFERENCE)
    if any(own_code(source.get("code"), book) != code for source in sources):
        yield where, "a source is another motion or mode"
    by_side = {next((side for _, side in stated_sides(s, book)), ""): s for s in sources}
    if len(sources) != 2 or by_side.keys() != {"left", "right"}:
        yield where, "the sources are not one left and one right"
        return
    left, right = (number(by_side[side].get("valueQuantity")) for side in ("left", "right"))
    if left is None or right is None:
        yield where, "a source has no value"
        return
    if number(derived.get("valueQuantity")) != right - left:
        yield where, f"the value is not right minus left ({right} - {left})"
    units = {r.get("valueQuantity", {}).get("code") for r in (derived, *sources)}
    if len(units) > 1:
        yield where, f"units differ: {sorted(map(str, units))}"
    yield from _ratio_faults(where, derived, left, right, book)


def _ratio_faults(where: str, derived: Json, left: Decimal, right: Decimal, book: Book) -> Found:
    ratio = number((component(derived, "side-ratio", book) or {}).get("valueQuantity"))
    if ratio is not None:
        step = Decimal(1).scaleb(int(ratio.as_tuple().exponent))
        if left == 0 or abs(ratio - 100 * right / left) > step / 2:
            yield where, "the ratio is not right as a percentage of left"
    lesser = component(derived, "lesser-side", book)
    if lesser is not None:
        stated = {book.sides.get(key) for key in keys(lesser.get("valueCodeableConcept"))}
        smaller = "right" if right < left else "left"
        if left == right or stated != {smaller}:
            yield where, f"the lesser side is not {stated}"


def pan_1(graph: Graph, book: Book) -> Found:
    """Every leaf is a member of exactly one panel, every panel a result of exactly one report."""
    panels, leaves = {}, {}
    for where, observation in observations(graph):
        (panels if is_panel(observation, book) else leaves)[id(observation)] = (where, observation)
    members = _targets(graph, [panel for _, panel in panels.values()], "hasMember")
    results = _targets(graph, list(graph.of_type("DiagnosticReport")), "result")
    for where, panel in panels.values():
        if has_value(panel) or "component" in panel or "dataAbsentReason" in panel:
            yield where, "a panel carries no value of its own"
        if not panel.get("hasMember"):
            yield where, "a panel without members"
        if members[id(panel)] or results[id(panel)] != 1:
            yield where, "a panel must be the result of exactly one report and no member"
    for key, (where, leaf) in leaves.items():
        personal = own_code(leaf.get("code"), book) in book.personal
        if not personal and (members[key] != 1 or results[key]):
            yield where, f"a leaf is a member of {members[key]} panels, not of exactly one"


def _targets(graph: Graph, sources: list[Json], element: str) -> Counter[int]:
    references = [r.get("reference", "") for s in sources for r in s.get(element, ())]
    return Counter(id(graph.resolve(reference)) for reference in references)
