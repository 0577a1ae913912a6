"""Who asks, whether they may, and how often: the faults of the gate and how they are answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from brachium.api.fault import HTTP, Fault, Rule, stated


class NoLogin(Fault):
    """Nobody says who is asking."""


class BadToken(Fault):
    """The access token is not one of ours, or its client is revoked."""


class ExpiredToken(Fault):
    """The access token was good and is so no longer."""


class Forbidden(Fault):
    """The caller is known and may not do this; ``missing`` are the scopes that would allow it."""

    def __init__(self, missing: str) -> None:
        told = f"The access token lacks the scope {missing}."
        challenge = f'{_BEARER}, error="insufficient_scope", scope="{missing}"'
        super().__init__(
            replace(stated(LOGIN_STATUSES[Forbidden]), message=told),
            headers={"WWW-Authenticate": challenge},
        )


class OfOneOrganization(Fault):
    """The client belongs to one organization, and this tells of all of them together."""


class Elsewhere(Fault):
    """Nobody can log in, and the request does not come from this machine."""


class PlainHttp(Fault):
    """A request without TLS from another machine."""


class Throttled(Fault):
    """More requests than the service takes; ``wait`` seconds until the next may come."""

    def __init__(self, wait: int) -> None:
        super().__init__(headers={"Retry-After": str(wait)})


_BEARER = 'Bearer realm="brachium"'
_LOG_IN = "Get an access token at the token endpoint that smart-configuration names, and send it."
LOGIN_STATUSES: Mapping[type[Exception], Rule] = {
    NoLogin: Rule(
        401,
        "login",
        "login-needed",
        "The request has no access token.",
        _LOG_IN,
        "RFC 6750 3",
        {"WWW-Authenticate": _BEARER},
    ),
    BadToken: Rule(
        401,
        "login",
        "token-unknown",
        "The access token is not one that this service gave, or its client was revoked.",
        _LOG_IN,
        "RFC 6750 3.1",
        {"WWW-Authenticate": f'{_BEARER}, error="invalid_token"'},
    ),
    ExpiredToken: Rule(
        401,
        "expired",
        "token-expired",
        "The access token has expired.",
        _LOG_IN,
        "RFC 6750 3.1",
        {
            "WWW-Authenticate": f'{_BEARER}, error="invalid_token", '
            'error_description="The access token expired"'
        },
    ),
    Forbidden: Rule(
        403,
        "forbidden",
        "scope-missing",
        "The access token does not allow this.",
        "Ask for the missing scope when getting a token; the client must have been granted it.",
        "RFC 6750 3.1",
    ),
    OfOneOrganization: Rule(
        403,
        "forbidden",
        "of-one-organization",
        "This tells of all organizations together, and the client belongs to one.",
        "Ask with a client that was registered without an organization.",
        "FHIR R4 security 6.1.0.5.2",
    ),
    Elsewhere: Rule(
        403,
        "forbidden",
        "this-machine-only",
        "No client is registered, so the service answers callers on its own machine only.",
        "Register a client with brachium clients add; then everybody needs an access token.",
        "own convention: nobody reads a record without saying who they are",
    ),
    PlainHttp: Rule(
        426,
        "security",
        "tls-needed",
        "The service takes requests of other machines over TLS only.",
        "Use the https address.",
        HTTP + " 15.5.22",
        {"Upgrade": "TLS/1.2, HTTP/1.1", "Connection": "Upgrade"},
    ),
    Throttled: Rule(
        429,
        "throttled",
        "too-many-requests",
        "More requests came than the service takes in this time.",
        "Wait as many seconds as Retry-After says, then go on.",
        "RFC 6585 4",
    ),
}
