"""The token endpoint: client credentials with a signed assertion (SMART 2.2 Backend Services)."""

from __future__ import annotations

import secrets
import uuid
from functools import partial
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.answers import header
from brachium.api.gate import audited_refusal, digest_of, seconds
from brachium.api.media import JSON
from brachium.security.assertion import Glance, Proven, glance, prove, refused
from brachium.security.oauth import OAuthError
from brachium.security.roles import held
from brachium.security.scopes import requested
from brachium.store.book import NewToken, Spent

if TYPE_CHECKING:
    from brachium.api.key_fetching import KeyRing
    from brachium.api.service import Service
    from brachium.records import Client

PATH = "/auth/token"
LIFETIME = 300
GRANT = "client_credentials"
ASSERTION_TYPE = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
FORM = "application/x-www-form-urlencoded"
_MOST_BYTES = 32_768
_MOST_FIELDS = 20
# a login can be tried again with another assertion, so nothing about it is kept (RFC 6749 5.1)
_UNKEPT = {"Cache-Control": "no-store", "Pragma": "no-cache"}


class Login:
    """Hands out access tokens, which are random and of which the store keeps the digest only."""

    def __init__(self, service: Service, keys: KeyRing) -> None:
        self._service = service
        self._keys = keys
        self._address = service.settings.public_base + PATH

    async def token(self, request: Request) -> Response:
        """Return an access token for a signed assertion."""
        try:
            body = await self._granted(request, await _form(request))
        except OAuthError as fault:
            audited_refusal(request.scope, fault.code, fault.client)
            return _refusal(fault)
        return Response(orjson.dumps(body), 200, _UNKEPT, JSON)

    async def _granted(self, request: Request, form: dict[str, str]) -> dict[str, object]:
        assertion = _assertion(form)
        seen = glance(assertion)
        client = await self._client(seen, form)
        keys = await self._keys.of(client, seen.kid)
        now = seconds(self._service.parts.clock())
        proven = prove(assertion, seen, keys, self._address, now)
        request.scope["client_id"] = proven.client
        token = secrets.token_urlsafe(32)
        fault, scopes = _scopes(form, client)
        kept = NewToken(digest_of(token), uuid.uuid4().hex, scopes, now + LIFETIME)
        # an assertion is spent by whatever it was proven for, a refused scope included
        await self._spend(proven, now, None if fault else kept)
        if fault:
            raise fault
        # what this token does is told under the same name
        request.scope["policy"] = kept.name
        return {
            "access_token": token,
            "token_type": "bearer",
            "expires_in": LIFETIME,
            "scope": scopes,
        }

    async def _client(self, seen: Glance, form: dict[str, str]) -> Client:
        if form.get("client_id", seen.client) != seen.client:
            raise refused("The parameter client_id and the claim iss differ.")
        task = partial(self._service.parts.clients.find, seen.client)
        client = await self._service.work.run(task)
        if client is None:
            raise refused("The claim iss names no registered client.")
        if client.revoked:
            raise refused("The client that the claim iss names is revoked.", client.id)
        if seen.jku not in (None, client.keys_at or None):
            raise refused("The header jku is not the registered address.", client.id)
        return client

    async def _spend(self, proven: Proven, now: int, token: NewToken | None) -> None:
        spent = Spent(proven.client, proven.jti, proven.until)
        task = partial(self._service.parts.clients.spend, spent, now, token)
        if not await self._service.work.write(task):
            raise refused("The claim jti was used before.", proven.client)


def _scopes(form: dict[str, str], client: Client) -> tuple[OAuthError | None, str]:
    try:
        return None, requested(form.get("scope", ""), held(client.role, client.scopes))
    except OAuthError as fault:
        return OAuthError(fault.code, fault.words, client.id), ""


def _assertion(form: dict[str, str]) -> str:
    """Return the assertion of a request that is otherwise as it must be."""
    if "grant_type" not in form:
        raise OAuthError("invalid_request", "The parameter grant_type is missing.")
    if form["grant_type"] != GRANT:
        raise OAuthError("unsupported_grant_type", f"The parameter grant_type is not {GRANT}.")
    if "client_secret" in form:
        raise refused("A client logs in with a signed assertion, not with a secret.")
    for name in ("client_assertion_type", "client_assertion"):
        if name not in form:
            raise OAuthError("invalid_request", f"The parameter {name} is missing.")
    if form["client_assertion_type"] != ASSERTION_TYPE:
        told = f"The parameter client_assertion_type is not {ASSERTION_TYPE}."
        raise OAuthError("invalid_request", told)
    return form["client_assertion"]


async def _form(request: Request) -> dict[str, str]:
    media = (header(request.scope, b"content-type") or "").partition(";")[0].strip().lower()
    if media != FORM:
        raise OAuthError("invalid_request", f"The body is not {FORM}.")
    body = await request.body()
    if len(body) > _MOST_BYTES:
        raise OAuthError("invalid_request", f"The body is longer than {_MOST_BYTES} bytes.")
    try:
        pairs = parse_qsl(
            body.decode("utf-8"),
            keep_blank_values=True,
            errors="strict",
            max_num_fields=_MOST_FIELDS,
        )
    except ValueError:
        raise OAuthError("invalid_request", "The body cannot be read as a form.") from None
    # a parameter without a value counts as left out (RFC 6749 3.2)
    pairs = [(name, value) for name, value in pairs if value]
    form = dict(pairs)
    if len(form) != len(pairs):
        raise OAuthError("invalid_request", "A parameter stands there twice.")
    return form


def _refusal(fault: OAuthError) -> Response:
    """Return the error as RFC 6749 5.2 has it."""
    body = {"error": fault.code, "error_description": fault.words}
    known = fault.code != "invalid_client"
    headers = _UNKEPT if known else {**_UNKEPT, "WWW-Authenticate": 'Bearer realm="brachium"'}
    return Response(orjson.dumps(body), 400 if known else 401, headers, JSON)
