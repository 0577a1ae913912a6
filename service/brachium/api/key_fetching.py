"""The public keys of a client: as registered, or from the address that it registered.

What is fetched is kept as long as the answer's Cache-Control allows and no longer; a kid that is
not among the kept keys has them fetched again, so that keys can change without a restart
(SMART 2.2 client-confidential-asymmetric).
"""

from __future__ import annotations

import asyncio
import re
import socket
import ssl
import time
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import httpx

from brachium.api.limits import Rate
from brachium.api.peers import plain_address
from brachium.security.assertion import refused
from brachium.security.keys import PublicKey, UnfitKeys, read_keys

if TYPE_CHECKING:
    from brachium.records import Client

Keys = Mapping[str, tuple[PublicKey, ...]]

# bytes, seconds, and fetches a minute from one address
MOST_BYTES = 65_536
PATIENCE = 5.0
MOST_FETCHES = 60
# seconds that keys are kept when the answer does not say, and at most
USUAL_AGE = 300
LONGEST_AGE = 86_400


class Unreachable(Exception):
    """The keys cannot be had from their address now; the text names no address."""


class Fetched(NamedTuple):
    """What an address answered, and how many seconds it may be kept."""

    text: bytes
    age: int


class _Held(NamedTuple):
    keys: Keys
    until: float


class KeyRing:
    """Finds the keys of clients; ``fetch`` gets them from an address."""

    def __init__(
        self,
        fetch: Callable[[str], Awaitable[Fetched]],
        timer: Callable[[], float] = time.monotonic,
    ) -> None:
        self._fetch = fetch
        self._timer = timer
        self._rate = Rate(MOST_FETCHES, timer)
        self._held: dict[str, _Held] = {}

    async def of(self, client: Client, kid: str) -> Keys:
        """Return the keys of a client, fresh enough to look for ``kid`` among them."""
        if client.keys:
            return read_keys(client.keys)
        held = self._held.get(client.keys_at)
        fresh = held is not None and self._timer() < held.until
        if held is not None and fresh and kid in held.keys:
            return held.keys
        if not self._rate.wait(client.keys_at):
            try:
                return await self._fetched(client.keys_at)
            except (Unreachable, UnfitKeys):
                if held is None or not fresh:
                    raise refused("The keys of the client cannot be fetched.", client.id) from None
        return held.keys if held is not None and fresh else {}

    async def _fetched(self, address: str) -> Keys:
        asked = self._timer()
        found = await self._fetch(address)
        keys = read_keys(found.text)
        self._held[address] = _Held(keys, asked + found.age)
        return keys


class Fetcher:
    """Gets keys over TLS: no redirects, no other machine than the name leads to, no long answers.

    Addresses of this machine and of private networks are refused unless ``private`` is set, so that
    nobody can have the service ask around inside a site; ``ca_file`` vouches for the others.
    """

    def __init__(self, ca_file: Path | None = None, *, private: bool = False) -> None:
        self._ca_file = ca_file
        self._private = private
        self._trust: ssl.SSLContext | None = None

    async def __call__(self, address: str) -> Fetched:
        """Return what lies at an https address; raises :class:`Unreachable`."""
        try:
            async with asyncio.timeout(PATIENCE):
                return await self._get(httpx.URL(address))
        except (httpx.HTTPError, httpx.InvalidURL, OSError, TimeoutError) as error:
            raise Unreachable(type(error).__name__) from None

    async def _get(self, url: httpx.URL) -> Fetched:
        if url.scheme != "https":
            raise Unreachable("not https")
        # the name is looked up once, so that what was checked is what is asked
        target = url.copy_with(host=await self._place(url))
        headers = {"Host": url.netloc.decode("ascii"), "Accept": "application/json"}
        client = httpx.AsyncClient(verify=self._trusted(), trust_env=False, timeout=PATIENCE)
        names = {"sni_hostname": url.host}
        async with (
            client,
            client.stream("GET", target, headers=headers, extensions=names) as answer,
        ):
            if answer.status_code != httpx.codes.OK:
                raise Unreachable(f"status {answer.status_code}")
            return Fetched(await _short(answer), _age(answer.headers))

    async def _place(self, url: httpx.URL) -> str:
        found = await asyncio.get_running_loop().getaddrinfo(
            url.host, url.port or 443, type=socket.SOCK_STREAM
        )
        places = [str(entry[4][0]) for entry in found]
        for place in places:
            known = plain_address(place.partition("%")[0])
            if not self._private and (not known.is_global or known.is_multicast):
                raise Unreachable("a private address")
        return places[0]

    def _trusted(self) -> ssl.SSLContext:
        if self._trust is None:
            self._trust = (
                ssl.create_default_context(cafile=self._ca_file)
                if self._ca_file
                else httpx.create_ssl_context(trust_env=False)
            )
        return self._trust


async def _short(answer: httpx.Response) -> bytes:
    text = b""
    async for piece in answer.aiter_bytes():
        text += piece
        if len(text) > MOST_BYTES:
            raise Unreachable(f"more than {MOST_BYTES} bytes")
    return text


def _age(headers: httpx.Headers) -> int:
    """Return how many seconds an answer may be kept (RFC 9111 4.2.1, 5.2.2)."""
    control = headers.get("cache-control", "").lower()
    if "no-store" in control or "no-cache" in control:
        return 0
    found = re.search(r'\bmax-age\s*=\s*"?(\d{1,9})', control)
    age = int(found[1]) if found else USUAL_AGE
    passed = headers.get("age", "0")
    return max(0, min(age, LONGEST_AGE) - (int(passed) if passed.isdecimal() else 0))
