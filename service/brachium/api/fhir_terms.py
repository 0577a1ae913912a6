"""The operations on code systems, value sets and maps of our own (matrix TRM-07)."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeAlias
from uuid import NAMESPACE_URL, uuid5

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.faults import STATUSES, BadParameter, NotFound, stated
from brachium.api.fhir_parameters import Asked, asked
from brachium.api.fhir_requests import answered, known
from brachium.profiles.terms import Unknown, terms

if TYPE_CHECKING:
    from brachium.api.definitions import Definitions
    from brachium.api.service import Service

Json: TypeAlias = Any

_CODED = ("code", "system", "display", "coding", "codeableConcept")
_SIDES = ("left", "right", "both")
TYPES = ("CodeSystem", "ValueSet", "ConceptMap")


class FhirTerms:
    """Answers from the resources that are served, so that both say the same."""

    def __init__(self, service: Service, definitions: Definitions) -> None:
        self._clock: Callable[[], str] = service.parts.clock
        self._definitions = definitions
        tables = service.tables
        displays = {
            (tables.systems[row.system].uri, row.code): row.display for row in tables.codes.values()
        }
        bodies = [one.body for kind in TYPES for one in definitions.all(kind)]
        self._terms = terms(bodies, displays, service.settings.canonical)

    async def lookup(self, request: Request) -> Response:
        """Return what is known of a code (OperationDefinition CodeSystem-lookup)."""
        found = await asked(request, "code", "system", "version", "coding")
        coding = found.codings()[0]
        version = found.text("version")
        if version:
            _known(lambda: self._terms.system(f"{coding.system}|{version}"))
        return _answer(request, _known(lambda: self._terms.lookup(coding)))

    async def code_in_system(self, request: Request, resource_id: str = "") -> Response:
        """Tell whether a code is in a code system (CodeSystem-validate-code)."""
        found = await asked(request, "url", "version", *_CODED)
        codings = found.codings()
        url = self._url(found, "CodeSystem", resource_id, "url") or codings[0].system
        return _answer(request, _known(lambda: self._terms.in_system(url, codings)))

    async def code_in_values(self, request: Request, resource_id: str = "") -> Response:
        """Tell whether a code is in a value set (ValueSet-validate-code)."""
        found = await asked(request, "url", "valueSetVersion", *_CODED)
        url = self._url(found, "ValueSet", resource_id, "url", "valueSetVersion")
        codings = found.codings()
        return _answer(request, _known(lambda: self._terms.in_values(_named(url), codings)))

    async def expand(self, request: Request, resource_id: str = "") -> Response:
        """Return the codes of a value set (OperationDefinition ValueSet-expand)."""
        found = await asked(request, "url", "valueSetVersion", "filter", "offset", "count")
        url = _named(self._url(found, "ValueSet", resource_id, "url", "valueSetVersion"))
        values = _known(lambda: self._terms.value_set(url))
        text, offset, count = found.text("filter"), found.number("offset"), found.number("count")
        listed = values.expanded(text, offset or 0, count)
        name = f"{values.url}|{values.body['version']}|{text}|{offset}|{count}"
        expansion = {
            "identifier": f"urn:uuid:{uuid5(NAMESPACE_URL, name)}",
            "timestamp": self._clock(),
            **listed,
        }
        body = {key: value for key, value in values.body.items() if key != "compose"}
        return answered(request, orjson.dumps({**body, "expansion": expansion}))

    async def translate(self, request: Request, resource_id: str = "") -> Response:
        """Return what a code is called elsewhere (OperationDefinition ConceptMap-translate)."""
        names = ("url", "conceptMapVersion", "targetsystem", "reverse", "dependency")
        found = await asked(request, *names, *_CODED)
        url = self._url(found, "ConceptMap", resource_id, "url", "conceptMapVersion")
        codings, target, side = found.codings(), found.text("targetsystem"), _side(found)
        reverse = found.flag("reverse")
        told = _known(lambda: self._terms.translate(codings, url, target, side, reverse=reverse))
        return _answer(request, told)

    def _url(
        self, found: Asked, kind: str, resource_id: str, name: str, version: str = "version"
    ) -> str:
        """Return the canonical URL that is asked about, with its version when one is named."""
        url = found.text(name)
        if resource_id:
            there = self._definitions.read(kind, known(resource_id))
            if there is None:
                raise NotFound
            url = there.url
        wanted = found.text(version)
        return f"{url}|{wanted}" if url and wanted else url


def _named(url: str) -> str:
    if not url:
        raise BadParameter(parameter="url", allowed="the canonical URL of a value set")
    return url


def _side(found: Asked) -> str:
    """Return the side that a dependency names (ConceptMap-translate: dependency.concept)."""
    for part in found.one("dependency") or ():
        concept = part.get("valueCodeableConcept") if isinstance(part, dict) else None
        listed = concept.get("coding") if isinstance(concept, dict) else None
        for coding in listed if isinstance(listed, list) else ():
            code = coding.get("code") if isinstance(coding, dict) else None
            if isinstance(code, str) and code.removeprefix("side-") in _SIDES:
                return code.removeprefix("side-")
    return ""


_UNKNOWN = "No code, code system, value set or map of this name is known here."
_OURS = "The code systems, value sets and maps of this service are found by a search for the type."


def _known(task: Callable[[], Any]) -> Any:  # noqa: ANN401 - what the task returns
    """Return what a task finds; 404 with the way out when it finds nothing."""
    try:
        return task()
    except Unknown:
        told = replace(stated(STATUSES[NotFound]), message=_UNKNOWN, remedy=_OURS)
        raise NotFound(told) from None


def _answer(request: Request, parameters: Iterable[Json]) -> Response:
    found = {"resourceType": "Parameters", "parameter": list(parameters)}
    return answered(request, orjson.dumps(found))
