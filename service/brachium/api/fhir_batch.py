"""Batches: every entry is a request of its own, served as if it had come alone (TXN-08).

The entry goes through the same routes, checks and permissions as any request; what it is answered
with becomes its response (FHIR R4 http 3.1.0.11.1).
"""

from __future__ import annotations

import re
from collections.abc import MutableMapping
from email.utils import parsedate_to_datetime
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, unquote

import orjson
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Message, Receive, Scope

from brachium.api.answers import FHIR_ROOT
from brachium.api.faults import Fault, NotJson
from brachium.api.media import FHIR_JSON
from brachium.api.permits import permit
from brachium.api.transaction_answer import answer_bundle
from brachium.formats.incoming import listed_entries, unfit, write
from brachium.problems import Problem

_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"})
_CONDITIONS = {
    "ifNoneMatch": b"if-none-match",
    "ifModifiedSince": b"if-modified-since",
    "ifMatch": b"if-match",
    "ifNoneExist": b"if-none-exist",
}
_ENTRY = frozenset({"fullUrl", "resource", "request"})
# headers of the batch that hold for every entry; a body and conditions are the entry's own
_SHARED = frozenset({b"accept", b"prefer", b"authorization", b"user-agent"})
# what the framework has noted about the request that brought the batch
_OF_THE_ROUTE = frozenset({"route", "endpoint", "path_params", "router", "state"})
_URL = re.compile(r"[A-Z][A-Za-z]{1,63}(?:[/?$_][^\s#]*)?|metadata|_history(?:\?[^\s#]*)?")


async def batch(request: Request, bundle: Any) -> Response:  # noqa: ANN401 - JSON
    """Serve every entry by itself, in the order of the bundle, and answer 200."""
    listed, faults = listed_entries(bundle)
    if faults:
        raise NotJson(*faults)
    entries = [await _served(request, one, index) for index, one in enumerate(listed)]
    return Response(answer_bundle("batch-response", entries), 200, {}, FHIR_JSON)


async def _served(request: Request, entry: Any, index: int) -> dict[str, Any]:  # noqa: ANN401
    fault = _fault(entry, f"Bundle.entry[{index}]")
    if fault is not None:
        return await _refused(request, NotJson(fault))
    answer, scope = _Answer(), _scope(request.scope, entry)
    try:
        # the gate has seen the batch and not what is in it
        permit(scope)
    except Fault as missing:
        return await _refused(request, missing)
    try:
        await request.app(scope, _receive(entry), answer)
    except Exception:
        # the framework passes an exception on after it has been answered
        if not answer.status:
            raise
    return answer.entry()


def _fault(entry: Any, place: str) -> Problem | None:  # noqa: ANN401 - JSON
    """Return why an entry is no request; what is in a request is for its own route to judge."""
    request = entry.get("request") if isinstance(entry, dict) else None
    if not isinstance(request, dict):
        return unfit(f"{place}.request", "The entry does not say what to do.", "required")
    unknown = set(entry) - _ENTRY or set(request) - {"method", "url", *_CONDITIONS}
    if unknown or not all(isinstance(one, str) for one in request.values()):
        return unfit(place, "The entry has a member that is not known here, or no text in one.")
    if request.get("method") not in _METHODS:
        return unfit(f"{place}.request.method", "This is no method of a batch.", "value")
    if not _URL.fullmatch(request.get("url", "")):
        return unfit(f"{place}.request.url", "This is no address relative to the base.", "value")
    if not isinstance(entry.get("resource", {}), dict):
        return unfit(f"{place}.resource", "The resource is not an object.")
    return None


def _body(entry: Any) -> bytes:  # noqa: ANN401 - JSON
    return write(entry["resource"]) if "resource" in entry else b""


def _scope(outer: Scope, entry: Any) -> Scope:  # noqa: ANN401 - JSON
    request = entry["request"]
    path, _, query = request["url"].partition("?")
    full = f"{FHIR_ROOT}/{path}"
    headers = [pair for pair in outer["headers"] if pair[0] in _SHARED]
    headers += [
        (header, request[name].encode()) for name, header in _CONDITIONS.items() if name in request
    ]
    if "resource" in entry:
        headers.append((b"content-type", FHIR_JSON.encode()))
    own = {name: outer[name] for name in outer if name not in _OF_THE_ROUTE}
    return {
        **own,
        "method": "GET" if request["method"] == "HEAD" else request["method"],
        "path": unquote(full),
        "raw_path": quote(full, safe="/%").encode(),
        "query_string": quote(query, safe="%&=/|,:$+@!*'();~").encode(),
        "headers": headers,
    }


def _receive(entry: Any) -> Receive:  # noqa: ANN401 - JSON
    body = _body(entry)

    async def read() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    return read


class _Answer:
    """One answer, kept instead of sent."""

    def __init__(self) -> None:
        self.status = 0
        self._headers: dict[bytes, str] = {}
        self._body = b""

    async def __call__(self, message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            self._headers = {name: value.decode("latin-1") for name, value in message["headers"]}
        elif message["type"] == "http.response.body":
            self._body += message.get("body", b"")

    def entry(self) -> dict[str, Any]:
        """Return the answer as an entry of a batch-response."""
        response: dict[str, Any] = {"status": f"{self.status} {HTTPStatus(self.status).phrase}"}
        for name, header in (("location", b"location"), ("etag", b"etag")):
            if header in self._headers:
                response[name] = self._headers[header]
        if b"last-modified" in self._headers:
            modified = parsedate_to_datetime(self._headers[b"last-modified"])
            response["lastModified"] = modified.isoformat()
        if not self._body:
            return {"response": response}
        content = orjson.Fragment(self._body)
        if b'"resourceType":"OperationOutcome"' in self._body[:64]:
            return {"response": {**response, "outcome": content}}
        return {"resource": content, "response": response}


async def _refused(request: Request, fault: Fault) -> dict[str, Any]:
    answer = _Answer()
    handler = request.app.exception_handlers[Fault]
    await (await handler(request, fault))(request.scope, _nothing, answer)
    return answer.entry()


async def _nothing() -> Message:
    return {"type": "http.request", "body": b"", "more_body": False}
