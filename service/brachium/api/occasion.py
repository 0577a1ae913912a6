"""The occasion of a request: what the audit has to know of who asked for what."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from brachium.api import peers
from brachium.records import THIS_MACHINE, Occasion

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import Scope

# What FHIR calls an interaction, by method and path: the first row that fits holds. Exams have
# addresses of their own beside FHIR; what they do is called by the same words.
_INTERACTIONS = tuple(
    (method, re.compile(path), interaction)
    for method, path, interaction in (
        ("POST", r"/auth/token", "login"),
        ("POST", r"/fhir/?", "transaction"),
        ("POST", r"/fhir/[^/]+/_search", "search-type"),
        ("*", r"/fhir/(?:.*/)?\$.*", "operation"),
        ("GET", r"/fhir/_history", "history-system"),
        ("GET", r"/fhir/[^/]+/_history", "history-type"),
        ("GET", r"/fhir/[^/]+/[^/]+/_history", "history-instance"),
        ("GET", r"/fhir/[^/]+/[^/]+/_history/[^/]+", "vread"),
        ("GET", r"/fhir/Patient/[^/]+/[A-Z][A-Za-z]+", "search-type"),
        ("GET", r"/fhir/[^/]+/[^/]+", "read"),
        ("GET", r"/fhir(?:/[^/]*)?", "search-type"),
        ("POST", r"/exams|/fhir/[^/]+", "create"),
        ("POST", r"/exams/[^/]+/(?:withdrawal|close)", "update"),
        ("POST", r"/patients/trend", "search-type"),
        ("GET", r"/patients/[^/]+/trend", "search-type"),
        ("PUT", r".*", "update"),
        ("PATCH", r".*", "patch"),
        ("DELETE", r".*", "delete"),
        ("GET", r"/exams/[^/]+.*", "read"),
    )
)


def interaction_of(method: str, path: str) -> str:
    """Return the FHIR interaction of a request; what is none is an operation."""
    for of, pattern, interaction in _INTERACTIONS:
        if of in (method, "*") and pattern.fullmatch(path):
            return interaction
    return "operation"


def begin(scope: Scope) -> Occasion:
    """Put the occasion of a request into its scope; who asks is added when that is known."""
    method, path = scope["method"], scope["path"]
    names = (scope.get("request_id"), scope.get("correlation_id"))
    occasion = Occasion(
        request=" ".join(name for name in names if name),
        address=peers.address(scope),
        method=method,
        path=path,
        interaction=interaction_of(method, path),
        query=scope.get("query_string", b"").decode("latin-1"),
    )
    scope["occasion"] = occasion
    return occasion


def complete(scope: Scope) -> Occasion:
    """Return the occasion of a request with what is known of the caller by now."""
    occasion: Occasion = scope["occasion"]
    caller = scope.get("caller")
    occasion.client = scope.get("client_id") or (caller.client if caller else "")
    if caller is not None:
        occasion.role, occasion.policy = caller.role or THIS_MACHINE, caller.jti
    occasion.policy = occasion.policy or scope.get("policy", "")
    return occasion


def occasion(request: Request) -> Occasion:
    """Return the occasion of a request for those who store something."""
    return complete(request.scope)
