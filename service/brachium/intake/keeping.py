"""Whether everything that a transaction says would be stored: entry against coded resource."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from brachium.formats.incoming import Entry, Identity, identity_of, parse, placed
from brachium.formats.likeness import missing
from brachium.formats.outgoing import SHARED_TYPES
from brachium.intake.refusals import ASSEMBLED_ANEW, NOT_KEPT, PARTY_DIFFERS

if TYPE_CHECKING:
    from brachium.problems import Problem

Json = dict[str, Any]
PROVENANCE = "Provenance"
_ASSEMBLER = "assembler"
# id and times are the service's to write; meta is read with the entry, but for the profiles
_OURS = ("id", "meta", "issued", "authored")
_VERSION = re.compile(r"/_history/[1-9]\d*$")


@dataclass(frozen=True)
class Kept:
    """What would be stored, by identity; the one Provenance without an identifier by its type."""

    made: Mapping[Identity | str, Json]

    @classmethod
    def of(cls, texts: Iterable[bytes], provenance: str) -> Kept:
        """Return what is in resource texts; ``provenance`` is the id of the one that is meant."""
        found: dict[Identity | str, Json] = {}
        for text in texts:
            resource = parse(text)
            identity = identity_of(resource)
            if identity:
                found[identity] = resource
            elif resource["id"] == provenance:
                found[PROVENANCE] = _unversioned(resource)
        return cls(found)

    def own_names(self, entries: Iterable[Entry]) -> dict[str, str]:
        """Return what this service calls the resource of each entry, by its name in the bundle."""
        found = ((entry.name, self.of_entry(entry)) for entry in entries)
        return {name: f"{one['resourceType']}/{one['id']}" for name, one in found if one}

    def of_entry(self, entry: Entry) -> Json | None:
        """Return what an entry would become."""
        return self.made.get(entry.identity or entry.type)

    def problems(self, entries: Iterable[Entry], stated: Mapping[int, Json]) -> Iterator[Problem]:
        """Yield everything that would get lost; ``stated`` holds the resources by entry.

        Their references have the names that this service gives.
        """
        for entry in entries:
            made = self.of_entry(entry)
            if made is None:
                message = "The service makes no such resource of the exam."
                yield placed(NOT_KEPT.problem("", message), entry.place)
                continue
            for place in missing(_compared(stated[entry.index], made), made, entry.place):
                yield placed(NOT_KEPT.problem("", _why(place)), place)


def _why(place: str) -> str:
    if place.endswith(".what.identifier.value"):
        return "The exam in the bundle is not the one whose digest stands here."
    return "This would not be stored as it stands here."


def _unversioned(value: Any) -> Any:  # noqa: ANN401 - JSON
    if isinstance(value, list):
        return [_unversioned(one) for one in value]
    if not isinstance(value, dict):
        return value
    return {
        name: _VERSION.sub("", one)
        if name == "reference" and isinstance(one, str)
        else _unversioned(one)
        for name, one in value.items()
    }


def _compared(posted: Json, made: Json) -> Json:
    """Return what of a posted resource must be found again."""
    found = {name: value for name, value in posted.items() if name not in _OURS}
    profiles = posted.get("meta", {}).get("profile")
    if profiles:
        found["meta"] = {"profile": profiles}
    # a generated narrative says nothing that the elements do not say
    if isinstance(posted.get("text"), dict) and posted["text"].get("status") == "generated":
        del found["text"]
    return _compared_provenance(found, made) if posted["resourceType"] == PROVENANCE else found


def _compared_provenance(posted: Json, made: Json) -> Json:
    found = {name: value for name, value in posted.items() if name != "recorded"}
    for name in ("entity", "agent", "target"):
        if isinstance(found.get(name), list):
            found[name] = [_unversioned(one) for one in found[name]]
    if isinstance(found.get("entity"), list):
        found["entity"] = [one for one in found["entity"] if revised(one) is None]
    if isinstance(found.get("agent"), list) and "agent" in made:
        found["agent"] = [_agent(one) for one in found["agent"]]
    return {name: value for name, value in found.items() if value != []}


def _agent(agent: Any) -> Any:  # noqa: ANN401 - JSON
    """Leave out who assembled the resources: what is stored is assembled here."""
    if not is_assembler(agent):
        return agent
    return {name: value for name, value in agent.items() if name != "who"}


def is_assembler(agent: object) -> bool:
    """Tell whether an agent of a Provenance is software that assembled the resources."""
    kind = agent.get("type") if isinstance(agent, dict) else None
    codings = kind.get("coding") if isinstance(kind, dict) else None
    first = codings[0] if isinstance(codings, list) and codings else None
    return isinstance(first, dict) and first.get("code") == _ASSEMBLER


def revised(entity: object) -> tuple[str, int] | None:
    """Return type and version that an entity of a Provenance says was revised, and nothing else."""
    if not isinstance(entity, dict) or entity.get("role") != "revision" or len(entity) != 2:
        return None
    what = entity.get("what")
    reference = what.get("reference") if isinstance(what, dict) and len(what) == 1 else None
    pattern = r"(?:.*/)?([A-Z][A-Za-z]+)/[A-Za-z0-9.-]{1,64}(?:/_history/([1-9]\d{0,8}))?"
    match = re.fullmatch(pattern, reference) if isinstance(reference, str) else None
    return (match[1], int(match[2] or 0)) if match else None


def party_problems(
    entries: Iterable[Entry], held: Mapping[Identity, Json], stated: Mapping[int, Json]
) -> Iterator[Problem]:
    """Yield where ifNoneExist keeps a stored party that says something else than the posted one."""
    for entry in entries:
        stored = held.get(entry.identity) if entry.identity else None
        if entry.type not in SHARED_TYPES or not entry.conditional or stored is None:
            continue
        for place in missing(_compared(stated[entry.index], stored), stored, entry.place):
            message = "A resource with this identifier is stored and says something else here."
            yield placed(PARTY_DIFFERS.problem("", message, "conflict"), place)


def assembled_anew(place: str) -> Problem:
    """Return the notice that the Provenance will name this service as assembler."""
    return placed(ASSEMBLED_ANEW.problem("", ASSEMBLED_ANEW.title, "informational"), place)
