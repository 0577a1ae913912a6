"""The table of faults, and how a fault finds its place: by what stands there.

Each fault changes one thing in a good bundle. One that is named after a rule ("bdl 7 ...") must be
noticed by that very rule.
"""

from __future__ import annotations

from collections.abc import Callable

from tests.oracles import reading
from tests.oracles.book import LOINC, Book
from tests.oracles.definitions import Json

Fault = Callable[[Json, Book], None]
FAULTS: dict[str, Fault] = {}


class NoPlaceError(Exception):
    """The bundle has nothing that this fault could spoil."""


def fault(function: Fault) -> Fault:
    """Enter a fault in the table under its function's name."""
    FAULTS[function.__name__.replace("_", " ")] = function
    return function


def pick(bundle: Json, wanted: Callable[[Json], bool]) -> Json:
    for entry in bundle["entry"]:
        if wanted(entry["resource"]):
            found: Json = entry["resource"]
            return found
    raise NoPlaceError


def first_resource(bundle: Json, name: str) -> Json:
    return pick(bundle, lambda r: r["resourceType"] == name)


def first_observation(bundle: Json, wanted: Callable[[Json], bool]) -> Json:
    return pick(bundle, lambda r: r["resourceType"] == "Observation" and wanted(r))


def measured(bundle: Json) -> Json:
    return first_observation(
        bundle, lambda o: "valueQuantity" in o and "referenceRange" in o and "derivedFrom" not in o
    )


def panel(bundle: Json) -> Json:
    return first_observation(bundle, lambda o: "hasMember" in o)


def difference(bundle: Json) -> Json:
    def fits(observation: Json) -> bool:
        return any(
            code.endswith("-side-difference") for _, code in reading.keys(observation["code"])
        )

    return first_observation(bundle, lambda o: "derivedFrom" in o and fits(o))


def computed(bundle: Json, name: str) -> Json:
    def fits(observation: Json) -> bool:
        return any(code == name for _, code in reading.keys(observation["code"]))

    return first_observation(bundle, fits)


def absent(bundle: Json) -> Json:
    return first_observation(bundle, lambda o: o["status"] == "cancelled")


def end_position(bundle: Json, book: Book, sign: int) -> Json:
    def fits(observation: Json) -> bool:
        code = reading.own_code(observation["code"], book)
        value = reading.number(observation.get("valueQuantity"))
        return "-end-position-" in code and value is not None and value * sign > 0

    return first_observation(bundle, lambda o: "derivedFrom" not in o and fits(o))


def graded(bundle: Json, book: Book) -> Json:
    def fits(observation: Json) -> bool:
        stated = reading.keys(observation.get("valueCodeableConcept"))
        return any(key in book.grades for key in stated)

    coded = first_observation(bundle, fits)["valueCodeableConcept"]["coding"]
    return next(c for c in coded if (c["system"], c["code"]) in book.grades)


def sided(bundle: Json, side: str, book: Book) -> Json:
    return first_observation(
        bundle,
        lambda o: (
            "derivedFrom" not in o
            and {s for _, s in reading.stated_sides(o, book)} == {side}
            and any(
                key[0] == LOINC and book.sides.get(key) == side for key in reading.keys(o["code"])
            )
        ),
    )
