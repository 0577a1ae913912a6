"""The gate before every route: who asks, may they, and is there room (matrix ERR-07, OPS-03).

Plain ASGI between the edge and the application. It puts the caller into ``scope["caller"]``, and
into ``scope["protected"]`` whether anybody can log in at all.
"""

from __future__ import annotations

import hashlib
import logging
import re
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from brachium.api import peers
from brachium.api.answers import Answers, header
from brachium.api.cors import PREFLIGHT, Origins
from brachium.api.fault import Fault
from brachium.api.faults import rule
from brachium.api.limits import Places, Rate
from brachium.api.login_faults import (
    BadToken,
    Elsewhere,
    ExpiredToken,
    NoLogin,
    PlainHttp,
    Throttled,
)
from brachium.api.permits import ACCESS, permit
from brachium.api.whose import organization_id, serving
from brachium.security.caller import ON_THIS_MACHINE, Caller
from brachium.security.roles import held
from brachium.store.port import StoreUnavailable

if TYPE_CHECKING:
    from brachium.api.service import Service

REFUSALS = logging.getLogger("brachium.refusals")
_BEARER = re.compile(r"bearer +([A-Za-z0-9._~+/-]+=*)", re.IGNORECASE)


def seconds(instant: str) -> int:
    """Return a FHIR instant as whole seconds since 1970."""
    return int(datetime.fromisoformat(instant).timestamp())


def digest_of(token: str) -> bytes:
    """Return what is kept of an access token."""
    return hashlib.sha256(token.encode()).digest()


def audited_refusal(scope: Scope, code: str, client: str) -> None:
    """Tell log and audit that a login or a request was refused.

    ``client`` is a registered id or empty.
    """
    scope["refusal"] = code
    if client:
        scope["client_id"] = client
    REFUSALS.warning("%s client=%s %s", code, client or "-", scope.get("request_id", "-"))


class Gate:
    """ASGI application around ``app``."""

    def __init__(self, app: ASGIApp, service: Service, answers: Answers) -> None:
        settings = service.settings
        self.inner = app
        self._service = service
        self._answers = answers
        self._base = settings.public_base
        self._origins = Origins(settings.origins)
        self._rate = Rate(settings.rate)
        self._places = Places(settings.concurrency)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer why not."""
        if scope["type"] != "http":
            await self.inner(scope, receive, send)
            return
        if self._origins.asks_first(scope):
            await Response(status_code=204, headers=PREFLIGHT)(scope, receive, send)
            return
        if not self._places.take():
            await self._answers.error(scope, Throttled(1))(scope, receive, send)
            return
        try:
            await self._admit(scope)
        except (Fault, StoreUnavailable) as fault:
            self._tell(scope, fault)
            await self._answers.error(scope, fault)(scope, receive, send)
        else:
            await self._serve(scope, receive, send)
        finally:
            self._places.give_back()

    async def _serve(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; without a caller nothing can be asked of the store."""
        caller = scope.get("caller")
        if caller is None:
            await self.inner(scope, receive, send)
            return
        with serving(organization_id(caller.organization)):
            await self.inner(scope, receive, send)

    async def _admit(self, scope: Scope) -> None:
        """Put the caller into the scope; any fault raised here keeps the request out."""
        row, _ = ACCESS.find(scope["method"], scope["path"])
        if row is not None:
            # for the access log, should the request get no further
            scope["route"] = row
        if row is not None and row.need.uncounted:
            return
        near = peers.is_near(scope)
        if scope["scheme"] == "http" and not near:
            raise PlainHttp
        scope["protected"] = await self._service.work.ask(self._service.parts.clients.protected)
        if not scope["protected"]:
            if not near or not peers.names_us(scope, self._base):
                raise Elsewhere
            scope["caller"] = ON_THIS_MACHINE
            return
        if row is not None and row.need.open:
            self._count(f"address {peers.address(scope)}")
            return
        caller = await self._caller(scope)
        scope["caller"] = caller
        self._count(f"client {caller.client}")
        permit(scope)

    def _count(self, who: str) -> None:
        wait = self._rate.wait(who)
        if wait:
            raise Throttled(wait)

    async def _caller(self, scope: Scope) -> Caller:
        """Return whose access token came along (RFC 6750 2.1)."""
        try:
            return await self._bearer(scope)
        except (NoLogin, BadToken):
            # guessing is counted by where it comes from
            self._count(f"address {peers.address(scope)}")
            raise

    async def _bearer(self, scope: Scope) -> Caller:
        given = header(scope, b"authorization")
        if given is None:
            raise NoLogin
        found = _BEARER.fullmatch(given)
        if found is None:
            raise BadToken
        task = partial(self._service.parts.clients.token, digest_of(found[1]))
        live = await self._service.work.ask(task)
        if live is None:
            raise BadToken
        # whoever it is shall be known to the audit, expired or not
        scope["client_id"] = live.client
        if live.expires <= seconds(self._service.parts.clock()):
            raise ExpiredToken
        scopes = held(live.role, live.scopes, live.organization)
        return Caller(live.client, live.role, scopes, live.name, live.organization)

    def _tell(self, scope: Scope, fault: Exception) -> None:
        audited_refusal(scope, rule(fault).code, scope.get("client_id", ""))
