"""What an operation is asked: from the address, or from a Parameters resource (FHIR R4 3.2.0.1)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

from brachium.api.allowed import names
from brachium.api.faults import BadParameter
from brachium.api.fhir_requests import readable
from brachium.api.requests import fhir_object, printable
from brachium.profiles.terms import Coding

if TYPE_CHECKING:
    from starlette.requests import Request

Json: TypeAlias = Any

ALWAYS = ("_format", "_pretty")


class Asked(NamedTuple):
    """The parameters by name, each with every value that was given."""

    values: Mapping[str, list[Json]]

    def one(self, name: str) -> Json:
        """Return the only value of a parameter, ``None`` without one; 400 for several."""
        found = self.values.get(name, [])
        if len(found) > 1:
            raise BadParameter(parameter=name, allowed="once")
        return found[0] if found else None

    def text(self, name: str) -> str:
        """Return a parameter that is a text, empty without one."""
        found = self.one(name)
        if found is None:
            return ""
        if not isinstance(found, str):
            raise BadParameter(parameter=name, allowed="a text")
        return found

    def number(self, name: str) -> int | None:
        """Return a parameter that is a whole number from 0."""
        found = self.one(name)
        if isinstance(found, str) and found.isascii() and found.isdigit() and len(found) < 7:
            found = int(found)
        if found is None or (type(found) is int and found >= 0):
            return found
        raise BadParameter(parameter=name, allowed="a whole number from 0")

    def flag(self, name: str) -> bool:
        """Return a parameter that is true or false, false without one."""
        found = self.one(name)
        if found in (None, True, False):
            return bool(found)
        if found in ("true", "false"):
            return bool(found == "true")
        raise BadParameter(parameter=name, allowed="true or false")

    def codings(self) -> list[Coding]:
        """Return the codes that are asked about, by code and system, coding or codeableConcept."""
        found = list(self._codings())
        if not found:
            allowed = "code with system, coding, or codeableConcept"
            raise BadParameter(parameter="code", allowed=allowed)
        return found

    def _codings(self) -> Iterator[Coding]:
        if code := self.text("code"):
            yield Coding(self.text("system"), code, self.text("display"))
        concept = self.one("codeableConcept") or {}
        listed = concept.get("coding") if isinstance(concept, dict) else None
        for one in (self.one("coding"), *(listed if isinstance(listed, list) else ())):
            if isinstance(one, dict):
                texts = (one.get(name, "") for name in Coding._fields)
                yield Coding(*(text if isinstance(text, str) else "" for text in texts))


async def asked(request: Request, *known: str) -> Asked:
    """Return what is asked; 400 for a parameter that this operation does not know."""
    readable(request)
    pairs: list[tuple[str, Json]] = list(request.query_params.multi_items())
    if request.method == "POST" and await request.body():
        pairs += given(await fhir_object(request))
    return gathered(pairs, known)


def gathered(pairs: Iterable[tuple[str, Json]], known: Iterable[str]) -> Asked:
    """Return the parameters by name; 400 for one that is not known."""
    found: dict[str, list[Json]] = {}
    for name, value in pairs:
        if name not in (*known, *ALWAYS):
            raise BadParameter(parameter=printable(name), allowed=names(known))
        found.setdefault(name, []).append(value)
    return Asked(found)


def given(resource: Json) -> Iterator[tuple[str, Json]]:
    """Yield name and value of each parameter; 400 for what is no Parameters resource."""
    listed = resource.get("parameter", [])
    if resource.get("resourceType") != "Parameters" or not isinstance(listed, list):
        raise BadParameter(parameter="resourceType", allowed="Parameters")
    for one in listed:
        name = one.get("name") if isinstance(one, dict) else None
        if not isinstance(name, str):
            raise BadParameter(parameter="parameter", allowed="each with a name")
        kept = [key for key in one if key.startswith("value") or key in ("resource", "part")]
        if len(kept) != 1:
            raise BadParameter(parameter=printable(name), allowed="one value")
        yield name, one[kept[0]]
