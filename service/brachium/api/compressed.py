"""gzip on answers for clients that ask (RFC 9110 8.4, 12.5.3), as plain ASGI around the routes."""

from __future__ import annotations

import gzip
import re

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from brachium.api.answers import header

# below this an answer fits a packet or two anyway
_SMALLEST = 1024
# level 4 takes half the time of 6 for FHIR JSON and leaves about a tenth more
_LEVEL = 4
_ENCODING = re.compile(r"\s*(gzip|\*)\s*(?:;\s*q=([0-9.]+)\s*)?")
# what the text of an answer depends on, so that no cache mixes them up
VARY = (b"vary", b"Accept, Accept-Encoding")


def takes_gzip(scope: Scope) -> bool:
    """Tell whether the client takes gzip: named, or by an asterisk, and not with weight 0."""
    found = [
        _ENCODING.fullmatch(one) for one in (header(scope, b"accept-encoding") or "").split(",")
    ]
    weights = {one[1]: one[2] for one in found if one}
    weight = weights.get("gzip", weights.get("*", "0") if "*" in weights else "0")
    try:
        return weight is None or float(weight) > 0
    except ValueError:
        return False


class Compressed:
    """ASGI application around ``app``; whole answers are compressed, streams pass as they are."""

    def __init__(self, app: ASGIApp) -> None:
        self.inner = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self.inner(scope, receive, send)
            return
        await self.inner(scope, receive, _Sending(send, gzips=takes_gzip(scope)))


class _Sending:
    def __init__(self, send: Send, *, gzips: bool) -> None:
        self._send = send
        self._gzips = gzips
        self._start: Message | None = None

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._start = message
            return
        if self._start is not None:
            start, self._start = self._start, None
            start, message = self._changed(start, message)
            await self._send(start)
        await self._send(message)

    def _changed(self, start: Message, message: Message) -> tuple[Message, Message]:
        headers = list(start.get("headers", ()))
        names = {name.lower() for name, _ in headers}
        if b"vary" not in names:
            headers.append(VARY)
        body = message.get("body", b"")
        # Content-Digest is that of the bytes on the wire (RFC 9530 2), and was told of the text
        fixed = names & {b"content-encoding", b"content-digest"}
        if self._gzips and not fixed and not message.get("more_body") and len(body) >= _SMALLEST:
            body = gzip.compress(body, _LEVEL, mtime=0)
            headers = [_fitting(pair, len(body)) for pair in headers]
            headers.append((b"content-encoding", b"gzip"))
        return {**start, "headers": headers}, {**message, "body": body}


def _fitting(pair: tuple[bytes, bytes], length: int) -> tuple[bytes, bytes]:
    """Return a header for the compressed body: other bytes are only weakly the same entity."""
    name, value = pair
    if name.lower() == b"content-length":
        return name, str(length).encode()
    if name.lower() == b"etag" and not value.startswith(b"W/"):
        return name, b"W/" + value
    return pair
