"""The reading side under /fhir: read, vread, history, search, metadata, and the tables (TRM-01)."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from email.utils import format_datetime
from functools import partial
from typing import TYPE_CHECKING

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.answers import header, outcome
from brachium.api.capability import SERVED, Served, digest_tag
from brachium.api.exams import etag
from brachium.api.faults import NotAcceptable, NotFound, NotSupported
from brachium.api.fhir_bundles import history, searchset
from brachium.api.fhir_search import MOST, Query, ignored_problem, understood
from brachium.api.media import FHIR_JSON, serves_fhir
from brachium.api.requests import only_parameters, unchanged
from brachium.records import StoredResource
from brachium.store.criteria import Criterion, Is, Search

if TYPE_CHECKING:
    from brachium.api.service import Service
    from brachium.api.terminology import Definition, Terminology

_ID = re.compile(r"[A-Za-z0-9.-]{1,64}")
_VERSION = re.compile(r"[1-9][0-9]{0,8}")


class Fhir:
    """The operations under /fhir."""

    def __init__(self, service: Service, terminology: Terminology, statement: bytes) -> None:
        self._service = service
        self._terminology = terminology
        self._statement = statement
        self._tag = digest_tag(statement)

    async def metadata(self, request: Request) -> Response:
        """Return the CapabilityStatement."""
        _readable(request)
        only_parameters(request, "_format", "mode")
        return _cached(request, self._statement, self._tag)

    async def read(self, request: Request, resource_type: str, resource_id: str) -> Response:
        """Return the newest version of a resource."""
        served = _served(request, resource_type, "read")
        only_parameters(request, "_format")
        if not served.versioned:
            found = self._definition(resource_type, resource_id)
            return _cached(request, found.text, digest_tag(found.text))
        row = await self._row(resource_type, resource_id, None)
        tag = etag(row.version)
        if unchanged(request, tag):
            return Response(status_code=304, headers={"ETag": tag})
        return _resource(row)

    async def vread(
        self, request: Request, resource_type: str, resource_id: str, version: str
    ) -> Response:
        """Return one version of a resource, the same bytes for ever (VER-07)."""
        _served(request, resource_type, "vread")
        only_parameters(request, "_format")
        if not _VERSION.fullmatch(version):
            raise NotFound
        return _resource(await self._row(resource_type, resource_id, int(version)))

    async def history(self, request: Request, resource_type: str, resource_id: str) -> Response:
        """Return every version of a resource, newest first."""
        _served(request, resource_type, "history-instance")
        only_parameters(request, "_format")
        task = partial(self._service.store.history, resource_type, _known(resource_id))
        rows = (await self._service.work.run(task)).rows
        if not rows:
            raise NotFound
        return Response(history(self._service.settings.public_base, rows), media_type=FHIR_JSON)

    async def search(self, request: Request, resource_type: str) -> Response:
        """Return the resources that meet every criterion."""
        served = _served(request, resource_type, "search-type")
        strict = "handling=strict" in (header(request.scope, b"prefer") or "").lower()
        base = self._service.settings.public_base
        query = understood(served, request.query_params.multi_items(), base, strict=strict)
        if not served.versioned:
            return self._definitions(resource_type, query)
        query.revinclude &= request.scope["caller"].scopes.allows("Provenance", "r")
        body = await self._service.work.run(partial(self._found, resource_type, query))
        return Response(body, media_type=FHIR_JSON)

    def _found(self, resource_type: str, query: Query) -> bytes:
        asked = _search(resource_type, query.criteria)
        page = self._service.store.search(asked, query.count, after=query.after)
        included = self._provenance(page.rows) if query.revinclude else ()
        following = query.link(resource_type, page.last) if page.has_next else None
        return self._searchset(
            resource_type, query, page.total or 0, page.rows, included, following
        )

    def _provenance(self, rows: Iterable[StoredResource]) -> list[StoredResource]:
        """Return every Provenance about the rows, each once (``_revinclude``)."""
        found: dict[str, StoredResource] = {}
        for row in rows:
            target = [("target", f"{row.type}/{row.id}")]
            page = self._service.store.search(_search("Provenance", target), MOST)
            found |= {one.id: one for one in page.rows}
        return list(found.values())

    def _searchset(
        self,
        resource_type: str,
        query: Query,
        total: int,
        rows: Sequence[StoredResource],
        included: Sequence[StoredResource] = (),
        following: str | None = None,
    ) -> bytes:
        settings = self._service.settings
        problems = ignored_problem(query.ignored)
        told = orjson.dumps(outcome(problems, settings.canonical)) if problems else None
        link = query.link(resource_type)
        return searchset(settings.public_base, link, total, rows, included, told, following)

    def _definitions(self, resource_type: str, query: Query) -> Response:
        wanted = dict(query.criteria)
        found = self._terminology.find(resource_type, wanted.get("url"), wanted.get("_id"))
        start = int(query.after) if query.after and query.after.isdecimal() else 0
        end = start + query.count
        rows = [StoredResource(one.type, one.id, 1, "", one.text) for one in found[start:end]]
        more = bool(query.count) and end < len(found)
        following = query.link(resource_type, str(end)) if more else None
        body = self._searchset(resource_type, query, len(found), rows, following=following)
        return Response(body, media_type=FHIR_JSON)

    def _definition(self, resource_type: str, resource_id: str) -> Definition:
        found = self._terminology.read(resource_type, _known(resource_id))
        if found is None:
            raise NotFound
        return found

    async def _row(
        self, resource_type: str, resource_id: str, version: int | None
    ) -> StoredResource:
        task = partial(self._service.store.read, resource_type, _known(resource_id), version)
        row = await self._service.work.run(task)
        if row is None:
            raise NotFound
        return row


def _search(kind: str, criteria: Iterable[tuple[str, str]]) -> Search:
    return Search(kind, tuple(Criterion((name,), (Is(value),)) for name, value in criteria))


def _readable(request: Request) -> None:
    accept = header(request.scope, b"accept")
    if not serves_fhir(accept, request.query_params.get("_format")):
        raise NotAcceptable(parameter="Accept")


def _served(request: Request, resource_type: str, interaction: str) -> Served:
    """Return what is served of a type; 404 for a type or interaction outside the statement."""
    served = SERVED.get(resource_type)
    if served is None or interaction not in served.interactions:
        raise NotSupported
    _readable(request)
    return served


def _known(resource_id: str) -> str:
    # another interaction of FHIR, such as the history of a type, which is not served
    if resource_id.startswith(("_", "$")):
        raise NotSupported
    if not _ID.fullmatch(resource_id):
        raise NotFound
    return resource_id


def _resource(row: StoredResource) -> Response:
    moment = datetime.fromisoformat(row.updated).astimezone(UTC)
    headers = {"ETag": etag(row.version), "Last-Modified": format_datetime(moment, usegmt=True)}
    return Response(row.text, 200, headers, FHIR_JSON)


def _cached(request: Request, text: bytes, tag: str) -> Response:
    """Answer with something that holds no patient data and may be kept by a client."""
    headers = {"ETag": tag, "Cache-Control": "no-cache"}
    if unchanged(request, tag):
        return Response(status_code=304, headers=headers)
    return Response(text, 200, headers, FHIR_JSON)
