"""Searching under /fhir: by address, by form, within the record of one patient (3.1.0.9)."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from brachium.api.faults import BadParameter, NotSupported
from brachium.api.fhir_requests import (
    answered,
    is_strict,
    known,
    may_see,
    parameters,
    permit_chains,
    served,
)
from brachium.api.page_links import PAGE
from brachium.api.search_reading import understood
from brachium.api.served import SERVED, Served

if TYPE_CHECKING:
    from brachium.api.searching import Searching
    from brachium.api.service import Service

Pairs = list[tuple[str, str]]
_BESIDE_PAGE = frozenset({PAGE, "_format", "_pretty"})


class FhirSearches:
    """Answers searches with bundles."""

    def __init__(self, service: Service, searching: Searching) -> None:
        self._service = service
        self._searching = searching

    async def search(self, request: Request, resource_type: str) -> Response:
        """Return the resources that meet every criterion."""
        one = served(request, resource_type, "search-type")
        return await self._answer(request, one, await parameters(request))

    async def compartment(self, request: Request, patient_id: str, resource_type: str) -> Response:
        """Return what is in the record of a patient and meets every criterion (3.1.0.9.1)."""
        one = SERVED.get(resource_type)
        if one is None or one.parameter("patient") is None:
            raise NotSupported
        served(request, resource_type, "search-type")
        within = ("patient", f"Patient/{known(patient_id)}")
        return await self._answer(request, one, [within, *await parameters(request)])

    async def _answer(self, request: Request, one: Served, pairs: Pairs) -> Response:
        turned = None
        if any(name == PAGE for name, _ in pairs):
            turned = self._searching.links.turned(one.type, _token(pairs))
            pairs = list(turned.pairs)
        base = self._searching.base
        query = understood(one, pairs, base, strict=is_strict(request) and turned is None)
        permit_chains(request, query)
        path = one.type if request.method == "GET" else None
        place = turned.place if turned else None
        sees = may_see(request)
        task = partial(self._searching.answer, query, place, sees, path)
        return answered(request, await self._service.work.run(task))


def _token(pairs: Pairs) -> str:
    tokens = [value for name, value in pairs if name == PAGE]
    if len(tokens) > 1 or not {name for name, _ in pairs} <= _BESIDE_PAGE:
        raise BadParameter(parameter=PAGE, allowed="the link alone, as it was given")
    return tokens[0]
