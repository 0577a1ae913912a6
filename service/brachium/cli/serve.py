"""``brachium serve``: the service on an address that it may listen on."""

from __future__ import annotations

import argparse
import socket
import ssl
import sys
from typing import TYPE_CHECKING

import uvicorn

from brachium.api.app import Application, create_app
from brachium.api.pages import THIS_MACHINE, TOKENS
from brachium.api.peers import is_loopback
from brachium.cli import logs
from brachium.cli.shown import OK, USAGE, complain, show
from brachium.coding.shape import prove
from brachium.problems import BrokenTables
from brachium.settings import Settings
from brachium.wiring import Parts, build, opened

if TYPE_CHECKING:
    from brachium.store.book import ClientBook


def address(host: str, port: int, *, tls: bool = False) -> str:
    """Return the base address that a client on this machine uses."""
    scheme = "https" if tls else "http"
    return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"


def exposed(settings: Settings, clients: ClientBook) -> str | None:
    """Return why the service must not listen on the address it is told to, or ``None``."""
    if is_loopback(settings.host):
        return None
    if not clients.protected():
        return (
            "no client is registered, so the service has no login and listens on a loopback "
            "address only; register one with: brachium clients add"
        )
    if not settings.tls and not settings.proxies:
        return (
            "on an address that others can reach the service speaks TLS only: set "
            "BRACHIUM_TLS_CERT and BRACHIUM_TLS_KEY, or name the proxy that ends TLS in front of "
            "it in BRACHIUM_PROXIES"
        )
    if not settings.public_base.startswith("https://"):
        return "others reach the service over TLS: BRACHIUM_PUBLIC_BASE has to begin with https://"
    return None


def is_free(host: str, port: int) -> bool:
    """Tell whether a port can be listened on; the server would say so with a stack trace."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def hindrance(settings: Settings) -> str | None:
    """Return why the service cannot or must not listen, or ``None``."""
    store = opened(settings)
    try:
        why_not = exposed(settings, store.clients)
    finally:
        store.close()
    return why_not or _taken(settings)


def _taken(settings: Settings) -> str | None:
    if is_free(settings.host, settings.port):
        return None
    return f"{settings.host} port {settings.port} is in use; choose another with --port"


def proven(parts: Parts) -> Parts:
    """Return the parts; raise ``BrokenTables`` when what they code has not the shape of FHIR."""
    found = prove(parts.tables, parts.intake.desk.coding)
    if found:
        parts.close()
        raise BrokenTables(found)
    return parts


def run(_asked: argparse.Namespace, settings: Settings) -> int:
    """Serve until told to stop."""
    why_not = hindrance(settings)
    if why_not:
        complain(why_not)
        return USAGE
    logs.begin(settings.log)
    parts = proven(build(settings))
    try:
        config = configured(create_app(parts), settings)
    except OSError as fault:
        parts.close()
        complain(f"the TLS certificate or its key cannot be used: {type(fault).__name__}")
        return USAGE
    base = settings.public_base
    show(f"brachium serves {base} (API page: {base}/docs); stop it with Ctrl-C")
    show(TOKENS if parts.clients.protected() else THIS_MACHINE)
    uvicorn.Server(config).run()
    return OK


def configured(app: Application, settings: Settings) -> uvicorn.Config:
    """Return how the server is to listen."""
    config = uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        loop="auto" if sys.platform == "win32" else "uvloop",
        http="httptools",
        ws="none",
        ssl_certfile=settings.tls_cert,
        ssl_keyfile=settings.tls_key,
        # what others say about where a request comes from is believed of named proxies only; no
        # address that we answer with is made of it (matrix OPS-01)
        proxy_headers=settings.proxies is not None,
        forwarded_allow_ips=list(settings.proxies or ()),
        server_header=False,
        # the access log of the server would hold query strings: ours does not
        access_log=False,
        log_config=None,
        timeout_graceful_shutdown=10,
    )
    config.load()
    if config.ssl is not None:
        config.ssl.minimum_version = ssl.TLSVersion.TLSv1_2
    return config
