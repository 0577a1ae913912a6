"""Questions about our own code systems, value sets and maps (FHIR R4 terminology service 4.7).

Made of the resources that the service serves, so that both say the same. Answers are the parameters
of R4 ``Parameters`` resources; what cannot be answered raises.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeAlias

from brachium.coding.fhir import OwnUrls

Json: TypeAlias = Any

# concept-map-equivalence read from the other end (R4 4.9.3)
_BACKWARDS = {
    "wider": "narrower",
    "narrower": "wider",
    "subsumes": "specializes",
    "specializes": "subsumes",
}


class Unknown(Exception):
    """There is no such code, code system, value set or map here."""


class Coding(NamedTuple):
    """A code that is asked about; empty members were not given."""

    system: str
    code: str
    display: str = ""


class Member(NamedTuple):
    """A code of a value set."""

    system: str
    code: str
    display: str


def parameter(name: str, kind: str, value: Json) -> Json:
    """Return one parameter; ``kind`` is an R4 type such as ``String``."""
    return {"name": name, f"value{kind}": value}


class System:
    """One code system of ours."""

    def __init__(self, body: Json) -> None:
        self.body = body
        self.url: str = body["url"]
        self.codes: dict[str, Json] = {one["code"]: one for one in body["concept"]}

    def lookup(self, code: str) -> list[Json]:
        """Return what is known of a code (CodeSystem-lookup)."""
        one = self.codes.get(code)
        if one is None:
            raise Unknown
        found = [
            parameter("name", "String", self.body["name"]),
            parameter("version", "String", self.body["version"]),
            parameter("display", "String", one["display"]),
        ]
        if "definition" in one:
            told = [
                parameter("code", "Code", "definition"),
                parameter("value", "String", one["definition"]),
            ]
            found.append({"name": "property", "part": told})
        return found


class Values:
    """One value set of ours, listed."""

    def __init__(self, body: Json, systems: Mapping[str, System], displays: Displays) -> None:
        self.body = body
        self.url: str = body["url"]
        self.members = tuple(
            Member(part["system"], code, displays.get((part["system"], code), ""))
            for part in body["compose"]["include"]
            for code in _codes(part, systems)
        )
        self._by_key = {(one.system, one.code): one for one in self.members}

    def find(self, coding: Coding) -> Member | None:
        """Return the member that a code with or without its system names."""
        if coding.system:
            return self._by_key.get((coding.system, coding.code))
        return next((one for one in self.members if one.code == coding.code), None)

    def expanded(self, text: str, offset: int, count: int | None) -> Json:
        """Return the expansion without its time: members whose display or code holds ``text``."""
        wanted = text.casefold()
        kept = [m for m in self.members if wanted in m.display.casefold() or wanted in m.code]
        page = kept[offset:] if count is None else kept[offset : offset + count]
        found: Json = {"total": len(kept), "offset": offset}
        if page:
            found["contains"] = [_contained(one) for one in page]
        return found


Displays: TypeAlias = Mapping[tuple[str, str], str]


def _contained(one: Member) -> Json:
    found = {"system": one.system, "code": one.code}
    return {**found, "display": one.display} if one.display else found


def _codes(part: Json, systems: Mapping[str, System]) -> Iterable[str]:
    if "concept" in part:
        return [one["code"] for one in part["concept"]]
    return systems[part["system"]].codes


class Match(NamedTuple):
    """What a code is called elsewhere; ``side`` names the side it holds for, empty for any."""

    system: str
    code: str
    display: str
    equivalence: str
    map: str
    side: str
    comment: str


@dataclass(frozen=True)
class Terms:
    """Everything that can be asked.

    ``side`` is the URL of the property that names a side, ``own`` that of our concepts.
    """

    systems: Mapping[str, System]
    values: Mapping[str, Values]
    maps: Mapping[str, Json]
    side: str
    own: str

    def lookup(self, coding: Coding) -> list[Json]:
        """Return what is known of a code of ours; :class:`Unknown` otherwise."""
        return self.system(coding.system).lookup(coding.code)

    def system(self, url: str) -> System:
        """Return a code system of ours by its URL."""
        found: System = _found(self.systems, url)
        return found

    def value_set(self, url: str) -> Values:
        """Return a value set of ours by its URL."""
        found: Values = _found(self.values, url)
        return found

    def in_system(self, url: str, codings: Iterable[Coding]) -> list[Json]:
        """Tell whether one of the codes is in a code system (CodeSystem-validate-code)."""
        system = self.system(url)
        for coding in codings:
            one = system.codes.get(coding.code) if coding.system in ("", url) else None
            if one is not None:
                return _verdict(coding, one["display"])
        return _absent("The code is not in this code system.")

    def in_values(self, url: str, codings: Iterable[Coding]) -> list[Json]:
        """Tell whether one of the codes is in a value set (ValueSet-validate-code)."""
        values = self.value_set(url)
        for coding in codings:
            one = values.find(coding)
            if one is not None:
                return _verdict(coding, one.display)
        return _absent("The code is not in this value set.")

    def translate(
        self, codings: Iterable[Coding], url: str, target: str, side: str, *, reverse: bool
    ) -> list[Json]:
        """Return what the maps call a code (ConceptMap-translate).

        ``url`` limits to one map, ``target`` to one code system. A code that stands for one side
        only is an answer when ``side`` names that side: no side is guessed.
        """
        maps = [_found(self.maps, url)] if url else list(self.maps.values())
        asked = list(codings)
        walk = self._backwards if reverse else self._forwards
        found = [one for body in maps for coding in asked for one in walk(body, coding)]
        found = [one for one in found if target in ("", one.system)]
        fits = [one for one in found if reverse or one.side in ("", side)]
        sided = len(found) - len(fits)
        message = f"{len(fits)} found."
        if sided:
            message += f" {sided} more hold for one side only; name it in a dependency."
        told = [parameter("result", "Boolean", any(_says(one) for one in fits))]
        told.append(parameter("message", "String", message))
        return [*told, *(self._match(one) for one in fits)]

    def _forwards(self, body: Json, coding: Coding) -> Iterator[Match]:
        for group in body["group"]:
            if coding.system not in ("", group["source"]):
                continue
            for element in group["element"]:
                if element["code"] == coding.code:
                    for one in element["target"]:
                        yield self._target(body, group, one)

    def _target(self, body: Json, group: Json, one: Json) -> Match:
        code, display = one["code"], one.get("display", "")
        equivalence, comment = one["equivalence"], one.get("comment", "")
        side = next((d["value"] for d in one.get("dependsOn", ())), "")
        return Match(group["target"], code, display, equivalence, body["url"], side, comment)

    def _backwards(self, body: Json, coding: Coding) -> Iterator[Match]:
        for group in body["group"]:
            if coding.system not in ("", group["target"]):
                continue
            for element in group["element"]:
                for one in element["target"]:
                    if one["code"] == coding.code:
                        there = self._target(body, group, one)
                        equivalence = _BACKWARDS.get(there.equivalence, there.equivalence)
                        code, display = element["code"], element["display"]
                        yield there._replace(
                            system=group["source"],
                            code=code,
                            display=display,
                            equivalence=equivalence,
                        )

    def _match(self, one: Match) -> Json:
        coding = {"system": one.system, "code": one.code}
        if one.display:
            coding["display"] = one.display
        parts = [
            parameter("equivalence", "Code", one.equivalence),
            parameter("concept", "Coding", coding),
        ]
        if one.side:
            about = [
                parameter("element", "Uri", self.side),
                parameter("concept", "Coding", {"system": self.own, "code": f"side-{one.side}"}),
            ]
            parts.append({"name": "product", "part": about})
        parts.append(parameter("source", "Uri", one.map))
        return {"name": "match", "part": parts}


def _says(one: Match) -> bool:
    return one.equivalence not in ("unmatched", "disjoint")


def _found(known: Mapping[str, Any], url: str) -> Any:  # noqa: ANN401 - what the mapping holds
    one = known.get(url.split("|")[0])
    if one is None or ("|" in url and _version(one) != url.partition("|")[2]):
        raise Unknown
    return one


def _version(one: Any) -> str:  # noqa: ANN401 - a body or what holds one
    body = one if isinstance(one, dict) else one.body
    return str(body["version"])


def _verdict(coding: Coding, display: str) -> list[Json]:
    right = coding.display in ("", display)
    found = [parameter("result", "Boolean", right)]
    if not right:
        text = "The code is right, and its display is another."
        found.append(parameter("message", "String", text))
    return [*found, parameter("display", "String", display)] if display else found


def _absent(message: str) -> list[Json]:
    return [parameter("result", "Boolean", False), parameter("message", "String", message)]


def terms(bodies: Iterable[Json], displays: Displays, canonical: str) -> Terms:
    """Return what can be asked of served resources; ``displays`` name codes of other systems."""
    by_type: dict[str, list[Json]] = {}
    for body in bodies:
        by_type.setdefault(body["resourceType"], []).append(body)
    systems = {one["url"]: System(one) for one in by_type.get("CodeSystem", ())}
    known = dict(displays)
    for system in systems.values():
        known |= {(system.url, code): one["display"] for code, one in system.codes.items()}
    values = {one["url"]: Values(one, systems, known) for one in by_type.get("ValueSet", ())}
    maps = {one["url"]: one for one in by_type.get("ConceptMap", ())}
    own = OwnUrls(canonical).concepts
    return Terms(systems, values, maps, f"{canonical}/laterality", own)
