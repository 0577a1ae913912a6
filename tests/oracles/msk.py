"""Our own invariants: what a coded arm exam must keep for its reader not to be misled.

Each rule takes the resources of one exam as a :class:`Graph` and yields (where, message). The
rules of modelling that say what one finding must be stand here; those about several findings
together are in ``msk_links``, those about every Observation in ``observation_rules``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from decimal import Decimal

from tests.oracles import msk_links, observation_rules
from tests.oracles.book import Book
from tests.oracles.complaint import Complaint
from tests.oracles.graph import Graph
from tests.oracles.reading import (
    ORDINAL,
    STATUS_REASON,
    codings,
    component,
    has_value,
    is_panel,
    keys,
    number,
    observations,
    own_code,
    side_in_words,
    stated_sides,
)

ORACLE = "own-rules"
_ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
_DIFFERENCE = "-side-difference"

Found = Iterator[tuple[str, str]]
Rule = Callable[[Graph, Book], Found]


def complaints(graph: Graph, book: Book) -> list[Complaint]:
    """Judge the resources of one exam by every rule of :data:`RULES`."""
    return [
        Complaint(ORACLE, where, f"{name}: {message}")
        for name, rule in RULES.items()
        for where, message in rule(graph, book)
    ]


def lat_1(graph: Graph, book: Book) -> Found:
    """Side in bodySite = side of lateralised codings = side in both texts = side in the key."""
    for where, observation in observations(graph):
        if own_code(observation.get("code"), book) in book.personal:
            continue
        stated = list(stated_sides(observation, book))
        if not any(place.startswith("bodySite") for place, _ in stated):
            yield where, "the side is not computable from bodySite"
        for place in ("code", "bodySite"):
            text = observation.get(place, {}).get("text", "")
            stated.append((f"{place}.text", side_in_words(text) or "no side"))
        if len({side for _, side in stated}) > 1:
            yield where, f"sides contradict each other: {stated}"


def lat_2(graph: Graph, book: Book) -> Found:
    """Panels, side differences and paired signs are about both sides, every other leaf is not.

    A computed value is about the sides of its sources, which msk-der-1 compares.
    """
    for where, observation in observations(graph):
        code = own_code(observation.get("code"), book)
        if code in book.personal or code in book.computed:
            continue
        both = is_panel(observation, book) or code.endswith(_DIFFERENCE) or code in book.paired
        wanted = {"both"} if both else {"left", "right"}
        sides = {side for _, side in stated_sides(observation, book)}
        if not sides <= wanted:
            yield where, f"side must be one of {sorted(wanted)}, is {sorted(sides)}"


def ext_1(graph: Graph, book: Book) -> Found:
    """End of extension: the sign, the magnitude component and the stated convention agree."""
    for where, observation in observations(graph):
        code = own_code(observation.get("code"), book)
        value = number(observation.get("valueQuantity"))
        if "-end-position-" not in code or code.endswith(_DIFFERENCE) or value is None:
            continue
        convention = component(observation, "axis-convention", book) or {}
        stated = own_code(convention.get("valueCodeableConcept"), book)
        if stated != "flexion-positive-neutral-zero":
            yield where, "the axis convention is not stated"
        wanted = {
            "hyperextension-angle": -value if value < 0 else None,
            "extension-deficit-angle": value if value > 0 else None,
        }
        for name, magnitude in wanted.items():
            part = component(observation, name, book)
            if (number(part.get("valueQuantity")) if part else None) != magnitude:
                yield where, f"{name} must be {magnitude} for a value of {value}"
            elif part and part["valueQuantity"].get("code") != observation["valueQuantity"]["code"]:
                yield where, f"{name} has another unit than the value"


def abs_1(graph: Graph, book: Book) -> Found:
    """Cancelled <=> dataAbsentReason with one HL7 and one own coding, and no value."""
    for where, observation in observations(graph):
        status, reason = observation.get("status"), observation.get("dataAbsentReason")
        if status == "cancelled" and reason is None:
            yield where, "cancelled without dataAbsentReason"
        if reason is None:
            continue
        if status not in {"cancelled", "entered-in-error"}:
            yield where, f"dataAbsentReason with status {status}"
        if has_value(observation):
            yield where, "dataAbsentReason and a value"
        systems = Counter(c.get("system") for c in codings(reason))
        if systems != {_ABSENT: 1, book.own: 1}:
            yield where, "dataAbsentReason needs one HL7 and one own coding"
        stated = [e for e in observation.get("extension", ()) if e.get("url") == STATUS_REASON]
        own = {own_code(e.get("valueCodeableConcept"), book) for e in stated}
        if status == "cancelled" and own != {own_code(reason, book)}:
            yield where, "the status reason is not the own absence reason"


def mrc_1(graph: Graph, book: Book) -> Found:
    """The ordinal of a grade is the one of the table, and a scale has no grade outside it."""
    for where, observation in observations(graph):
        for coding in codings(observation.get("valueCodeableConcept")):
            system, key = coding.get("system", ""), (coding.get("system"), coding.get("code"))
            if not system.startswith(book.canonical + "/") or system == book.own:
                continue
            stated = [e for e in coding.get("extension", ()) if e.get("url") == ORDINAL]
            ordinals = [Decimal(str(e.get("valueDecimal"))) for e in stated]
            if ordinals != [book.grades.get(key)]:  # type: ignore[arg-type]
                yield where, f"grade {key[1]} has ordinals {ordinals}"


def loinc_ext(graph: Graph, book: Book) -> Found:
    """A standard extension code defines no sign, so it goes only with exactly straight."""
    for where, observation in observations(graph):
        if keys(observation.get("code")) & book.straight:
            value = number(observation.get("valueQuantity"))
            if value is not None and value != 0:
                yield where, f"a standard extension code with a value of {value}"


RULES: dict[str, Rule] = {
    "msk-lat-1": lat_1,
    "msk-lat-2": lat_2,
    "msk-ext-1": ext_1,
    "msk-abs-1": abs_1,
    "msk-der-1": msk_links.der_1,
    "msk-pan-1": msk_links.pan_1,
    "msk-mrc-1": mrc_1,
    "msk-loinc-ext": loinc_ext,
    "obs-02": observation_rules.obs_02,
    "obs-03": observation_rules.obs_03,
    "obs-04": observation_rules.obs_04,
    "obs-07": observation_rules.obs_07,
}
