"""Where a request comes from: this machine or another, and by which name it asks."""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

from starlette.types import Scope

from brachium.api.answers import header


def is_loopback(host: str) -> bool:
    """Tell whether only this machine can reach an address."""
    if host == "localhost":
        return True
    try:
        return plain_address(host).is_loopback
    except ValueError:
        return False


def plain_address(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    """Return an IP address, one of version 4 written as version 6 as version 4; ``ValueError``."""
    found = ipaddress.ip_address(text)
    return getattr(found, "ipv4_mapped", None) or found


def address(scope: Scope) -> str:
    """Return the network address of whoever asks; empty for a socket of this machine."""
    peer = scope.get("client")
    return str(peer[0]) if peer else ""


def is_near(scope: Scope) -> bool:
    """Tell whether a request was made on this machine."""
    found = address(scope)
    return not found or is_loopback(found)


def names_us(scope: Scope, public_base: str) -> bool:
    """Tell whether Host is a name of ours.

    A page of another site can have its own name lead to this machine; its requests keep that name.
    """
    host = urlsplit("//" + (header(scope, b"host") or "")).hostname or ""
    return is_loopback(host) or host == urlsplit(public_base).hostname
