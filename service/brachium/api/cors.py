"""Which web pages may call the service: those of registered origins (Fetch standard, CORS)."""

from __future__ import annotations

from starlette.types import Scope

from brachium.api.answers import header

EXPOSED = (
    "ETag, Location, Content-Location, Retry-After, X-Request-Id, X-Correlation-Id, Last-Modified, "
    "Content-Digest, Preference-Applied, WWW-Authenticate, X-Progress, Link"
)
_METHODS = "GET, HEAD, POST, PUT, PATCH, DELETE"
_ASKED = (
    "Authorization, Content-Type, Accept, Prefer, If-Match, If-None-Match, If-None-Exist, "
    "If-Modified-Since, X-Request-Id, X-Correlation-Id"
)

Headers = list[tuple[bytes, bytes]]


class Origins:
    """The registered origins; no other gets a header of CORS at all."""

    def __init__(self, origins: tuple[str, ...] | None) -> None:
        self._origins = frozenset(origins or ())

    def headers(self, scope: Scope) -> Headers:
        """Return what an answer to this request carries; nothing for other origins."""
        if not self._origins:
            return []
        origin = header(scope, b"origin")
        found: Headers = [(b"vary", b"Origin")]
        if origin in self._origins:
            found.append((b"access-control-allow-origin", str(origin).encode()))
            found.append((b"access-control-expose-headers", EXPOSED.encode()))
        return found

    def asks_first(self, scope: Scope) -> bool:
        """Tell whether a browser asks if a page of a registered origin may call."""
        return (
            scope["method"] == "OPTIONS"
            and header(scope, b"access-control-request-method") is not None
            and header(scope, b"origin") in self._origins
        )


# the browser may remember the answer for ten minutes
PREFLIGHT = {
    "Access-Control-Allow-Methods": _METHODS,
    "Access-Control-Allow-Headers": _ASKED,
    "Access-Control-Max-Age": "600",
}
