"""What every request under /fhir has in common: form of the answer, type, id, who may see what."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from email.utils import format_datetime, parsedate_to_datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.answers import header
from brachium.api.exams import etag
from brachium.api.faults import NotAcceptable, NotFound, NotSupported, WrongMediaType
from brachium.api.media import FHIR_JSON, serves_fhir
from brachium.api.permits import permit_scopes
from brachium.api.requests import unchanged
from brachium.api.served import SERVED, Served
from brachium.formats import lossless
from brachium.records import StoredResource
from brachium.security.scopes import Scope as Smart

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brachium.api.search_query import Query
    from brachium.security.caller import Caller

_ID = re.compile(r"[A-Za-z0-9.-]{1,64}")
FORM = "application/x-www-form-urlencoded"


def readable(request: Request) -> None:
    """Refuse a request whose answer would be in no form that the client takes."""
    accept = header(request.scope, b"accept")
    if not serves_fhir(accept, request.query_params.get("_format")):
        raise NotAcceptable(parameter="Accept")


def served(request: Request, kind: str, interaction: str) -> Served:
    """Return what is served of a type; 404 for a type or interaction outside the statement."""
    found = SERVED.get(kind)
    if found is None or interaction not in found.interactions:
        raise NotSupported
    readable(request)
    return found


def known(resource_id: str) -> str:
    """Return an id that can be one; another interaction of FHIR in its place is not served."""
    if resource_id.startswith(("_", "$")):
        raise NotSupported
    if not _ID.fullmatch(resource_id):
        raise NotFound
    return resource_id


def is_strict(request: Request) -> bool:
    """Tell whether nothing may be ignored (FHIR R4 3.1.1.3)."""
    return "handling=strict" in (header(request.scope, b"prefer") or "").lower().replace(" ", "")


def may_see(request: Request) -> Callable[[str], bool]:
    """Return a test whether this caller may be shown resources of a type."""
    caller: Caller = request.scope["caller"]
    return lambda kind: caller.scopes.allows(kind, "r")


def permit_chains(request: Request, query: Query) -> None:
    """Refuse a chained search through a type that the caller may not search."""
    needed = (Smart(one.type, "s") for chained in query.chained for one in chained.searches)
    permit_scopes(request.scope, needed)


async def parameters(request: Request) -> list[tuple[str, str]]:
    """Return the parameters of a search: of the address and, for POST, of the form (3.1.0.9)."""
    pairs = request.query_params.multi_items()
    if request.method != "POST":
        return pairs
    media = (header(request.scope, b"content-type") or FORM).partition(";")[0].strip().lower()
    body = await request.body()
    if media != FORM or header(request.scope, b"content-encoding"):
        raise WrongMediaType(parameter="Content-Type", headers={"Accept": FORM})
    return pairs + parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True)


def answered(request: Request, body: bytes, headers: Mapping[str, str] | None = None) -> Response:
    """Return the answer; ``_pretty=true`` changes white space only (3.1.0.1.11)."""
    if request.query_params.get("_pretty") == "true":
        body = orjson.dumps(lossless.parse(body), default=_digits, option=orjson.OPT_INDENT_2)
    return Response(body, 200, headers, FHIR_JSON)


def _digits(value: Any) -> orjson.Fragment:  # noqa: ANN401 - JSON
    return orjson.Fragment(bytes(value))


def resource(request: Request, row: StoredResource, text: bytes | None = None) -> Response:
    """Return a stored resource, or 304 when the client has it (FHIR R4 3.1.0.1.7)."""
    moment = datetime.fromisoformat(row.updated).astimezone(UTC)
    tag = etag(row.version)
    headers = {"ETag": tag, "Last-Modified": format_datetime(moment, usegmt=True)}
    if unchanged(request, tag) or _unmodified(request, moment):
        return Response(status_code=304, headers=headers)
    return answered(request, row.text if text is None else text, headers)


def _unmodified(request: Request, moment: datetime) -> bool:
    """Tell whether If-Modified-Since is asked and names a time that late (RFC 9110 13.1.3)."""
    since = header(request.scope, b"if-modified-since")
    if since is None or header(request.scope, b"if-none-match") is not None:
        return False
    try:
        asked = parsedate_to_datetime(since)
    except ValueError:
        return False
    return moment.replace(microsecond=0) <= asked.replace(tzinfo=asked.tzinfo or UTC)


def cached(request: Request, text: bytes, tag: str) -> Response:
    """Answer with something that holds no patient data and may be kept by a client."""
    headers = {"ETag": tag, "Cache-Control": "no-cache"}
    if unchanged(request, tag):
        return Response(status_code=304, headers=headers)
    return answered(request, text, headers)
