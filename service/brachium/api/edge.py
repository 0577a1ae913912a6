"""The outermost layer: request ids, security headers, body limit, HEAD, access log, last resort.

Plain ASGI around the whole application, so that no answer leaves without passing here.
"""

from __future__ import annotations

import logging
import re
import time
import traceback
import uuid
from collections.abc import Callable
from typing import TypeAlias

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from brachium.api.answers import Answers, header
from brachium.api.cors import Origins
from brachium.api.faults import TooLarge, Unforeseen

ACCESS = logging.getLogger("brachium.access")
FAILURES = logging.getLogger("brachium.failures")

_TOKEN = re.compile(r"[A-Za-z0-9._-]{1,64}")
_PRINTABLE = re.compile(r"[\x21-\x7e]{1,200}")
SECURITY_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
# a year, as browsers want it (RFC 6797 6.1); the other names of the domain are not ours to speak of
HSTS = (b"strict-transport-security", b"max-age=31536000")
# an answer may hold patient data unless its route says otherwise
_DEFAULT_HEADERS = (
    (b"cache-control", b"no-store"),
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"),
)


def request_ids(scope: Scope) -> tuple[str, str | None]:
    """Return the id of the request and the client's own when it differs (FHIR R4 3.1.0.16).

    A sane X-Request-Id is taken over; any other is replaced, and comes back as X-Correlation-Id if
    it can stand in a header. A client's X-Correlation-Id comes back too.
    """
    asked = header(scope, b"x-request-id")
    correlation = header(scope, b"x-correlation-id")
    if asked and _TOKEN.fullmatch(asked):
        return asked, correlation if correlation and _PRINTABLE.fullmatch(correlation) else None
    client = asked or correlation
    return uuid.uuid4().hex, client if client and _PRINTABLE.fullmatch(client) else None


def declared_length(scope: Scope) -> int:
    """Return Content-Length, or 0 when the body comes in pieces or not at all."""
    value = header(scope, b"content-length") or "0"
    return int(value) if value.isdigit() else 0


def limited(receive: Receive, limit: int) -> Receive:
    """Return ``receive`` that refuses to hand over more than ``limit`` bytes of body."""
    seen = 0

    async def read() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise TooLarge(limit)
        return message

    return read


def place_of(error: BaseException) -> str:
    """Return where an exception arose, without its text, which may hold patient data."""
    frames = traceback.extract_tb(error.__traceback__)[-6:]
    return " < ".join(f"{frame.filename}:{frame.lineno} {frame.name}" for frame in reversed(frames))


def _log(method: str, route: str, status: int, seconds: float, request: str) -> None:
    """Write the line of a request: the form of its address, never what stood in it."""
    took = round(seconds * 1000, 1)
    names = ("method", "route", "status", "ms", "request")
    values = (method, route, status, took, request)
    fields = dict(zip(names, values, strict=True))
    ACCESS.info("%s %s %d %.1fms %s", *values, extra={"fields": fields})


class Outgoing:
    """One answer on its way out: adds the headers, counts the status, drops the body of a HEAD."""

    def __init__(self, send: Send, extra: list[tuple[bytes, bytes]], *, bodiless: bool) -> None:
        self._send = send
        self._extra = extra
        self._bodiless = bodiless
        self.status = 0

    async def __call__(self, message: Message) -> None:
        """Pass one ASGI message on."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
            headers = list(message.get("headers", ()))
            present = {name for name, _ in headers}
            headers += self._extra
            headers += SECURITY_HEADERS
            headers += (pair for pair in _DEFAULT_HEADERS if pair[0] not in present)
            message = {**message, "headers": headers}
        elif self._bodiless:
            message = {**message, "body": b""}
        await self._send(message)


Observer: TypeAlias = Callable[[str, str, int, float], None]


def _unobserved(_method: str, _route: str, _status: int, _seconds: float) -> None:
    """Nobody counts."""


class Edge:
    """ASGI application around ``app``; ``limit`` is the longest body in bytes.

    ``hsts`` says that the service is reached over TLS, and browsers are told to keep to it.
    """

    def __init__(
        self,
        app: ASGIApp,
        answers: Answers,
        limit: int,
        timer: Callable[[], float] = time.perf_counter,
        *,
        origins: Origins | None = None,
        hsts: bool = False,
        observe: Observer = _unobserved,
    ) -> None:
        self.inner = app
        self._answers = answers
        self._limit = limit
        self._timer = timer
        self._origins = origins or Origins(None)
        self._observe = observe
        self._always = [HSTS] if hsts else []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or pass the lifespan on."""
        if scope["type"] != "http":
            await self.inner(scope, receive, send)
            return
        started = self._timer()
        request_id, correlation = request_ids(scope)
        bodiless = scope["method"] == "HEAD"
        # HEAD is GET without the body everywhere (RFC 9110 9.3.2), so nothing inside knows it
        inner = {
            **scope,
            "method": "GET" if bodiless else scope["method"],
            "request_id": request_id,
            "correlation_id": correlation,
        }
        extra = [(b"x-request-id", request_id.encode()), *self._always]
        extra += self._origins.headers(scope)
        if correlation:
            extra.append((b"x-correlation-id", correlation.encode("latin-1")))
        outgoing = Outgoing(send, extra, bodiless=bodiless)
        try:
            await self._serve(inner, receive, outgoing)
        finally:
            route = getattr(inner.get("route"), "path", "-")
            seconds = self._timer() - started
            self._observe(scope["method"], route, outgoing.status, seconds)
            _log(scope["method"], route, outgoing.status, seconds, request_id)

    async def _serve(self, scope: Scope, receive: Receive, outgoing: Outgoing) -> None:
        if declared_length(scope) > self._limit:
            await self._answers.error(scope, TooLarge(self._limit))(scope, receive, outgoing)
            return
        try:
            await self.inner(scope, limited(receive, self._limit), outgoing)
        except Exception as error:  # noqa: BLE001 - the last resort; whatever it is gets logged
            FAILURES.error(
                "%s %s at %s", scope["request_id"], type(error).__name__, place_of(error)
            )
            if not outgoing.status:
                answer = self._answers.error(scope, Unforeseen())
                await answer(scope, receive, outgoing)
