"""Reading under /fhir: the statement, resources and their versions (FHIR R4 3.1.0.2, 3.1.0.3)."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from brachium.api.capability import digest_tag
from brachium.api.faults import BadParameter, NotFound
from brachium.api.fhir_requests import cached, known, readable, resource, served
from brachium.api.partial import part_of
from brachium.api.requests import only_parameters
from brachium.api.search_results import SUMMARIES, elements

if TYPE_CHECKING:
    from brachium.api.definitions import Definitions
    from brachium.api.service import Service
    from brachium.records import StoredResource

_VERSION = re.compile(r"[1-9][0-9]{0,8}")
_WHOLE = ("_format", "_pretty")
_PARTIAL = (*_WHOLE, "_summary", "_elements")


class Fhir:
    """Reads what is stored and what is made of the tables."""

    def __init__(self, service: Service, definitions: Definitions, statement: bytes) -> None:
        self._service = service
        self._definitions = definitions
        self._statement = statement
        self._tag = digest_tag(statement)

    async def metadata(self, request: Request) -> Response:
        """Return the CapabilityStatement."""
        readable(request)
        only_parameters(request, *_WHOLE, "mode")
        return cached(request, self._statement, self._tag)

    async def read(self, request: Request, resource_type: str, resource_id: str) -> Response:
        """Return the newest version of a resource."""
        one = served(request, resource_type, "read")
        summary, members = _wanted(request, resource_type)
        identity = known(resource_id)
        if not one.versioned:
            task = partial(self._definitions.read, resource_type, identity)
            found = await self._service.work.run(task)
            if found is None:
                raise NotFound
            text = part_of(found.text, resource_type, summary, members)
            return cached(request, text, digest_tag(text))
        row = await self._row(resource_type, identity, None)
        return resource(request, row, part_of(row.text, resource_type, summary, members))

    async def vread(
        self, request: Request, resource_type: str, resource_id: str, version: str
    ) -> Response:
        """Return one version of a resource, the same bytes for ever (VER-07)."""
        served(request, resource_type, "vread")
        only_parameters(request, *_WHOLE)
        identity = known(resource_id)
        if not _VERSION.fullmatch(version):
            raise NotFound
        return resource(request, await self._row(resource_type, identity, int(version)))

    async def _row(self, kind: str, identity: str, version: int | None) -> StoredResource:
        task = partial(self._service.store.read, kind, identity, version)
        row = await self._service.work.run(task)
        if row is None:
            raise NotFound
        return row


def _wanted(request: Request, kind: str) -> tuple[str, tuple[str, ...]]:
    """Return ``_summary`` and ``_elements`` of a read; there is nothing to count."""
    only_parameters(request, *_PARTIAL)
    summary = request.query_params.get("_summary", "false")
    if summary not in SUMMARIES or summary == "count":
        allowed = ", ".join(one for one in SUMMARIES if one != "count")
        raise BadParameter(parameter="_summary", allowed=allowed)
    asked = request.query_params.get("_elements")
    try:
        return summary, elements(asked, kind) if asked is not None else ()
    except ValueError as refused:
        raise BadParameter(parameter="_elements", allowed=str(refused)) from None
