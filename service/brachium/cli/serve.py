"""``brachium serve``: the service on a loopback address."""

from __future__ import annotations

import argparse
import ipaddress
import logging
import socket
import sys

import uvicorn

from brachium.api.app import create_app
from brachium.cli.shown import OK, USAGE, complain, show
from brachium.coding.shape import prove
from brachium.problems import BrokenTables
from brachium.settings import Settings
from brachium.wiring import Parts, build

LOG_FORMAT = "%(asctime)s %(levelname)s %(name)s %(message)s"


def address(host: str, port: int) -> str:
    """Return the base address that a client on this machine uses."""
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def is_loopback(host: str) -> bool:
    """Tell whether only this machine can reach an address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


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


def proven(parts: Parts) -> Parts:
    """Return the parts; raise ``BrokenTables`` when what they code has not the shape of FHIR."""
    found = prove(parts.tables, parts.intake.desk.coding)
    if found:
        parts.close()
        raise BrokenTables(found)
    return parts


def run(_asked: argparse.Namespace, settings: Settings) -> int:
    """Serve until told to stop."""
    if not is_loopback(settings.host):
        complain(
            "the service has no login yet, so it listens on a loopback address only; "
            "put a proxy that checks who is asking in front of 127.0.0.1"
        )
        return USAGE
    if not is_free(settings.host, settings.port):
        complain(f"{settings.host} port {settings.port} is in use; choose another with --port")
        return USAGE
    logging.basicConfig(level=logging.INFO, format=LOG_FORMAT, stream=sys.stderr)
    app = create_app(proven(build(settings)))
    base = settings.public_base
    show(f"brachium serves {base} (API page: {base}/docs); stop it with Ctrl-C")
    uvicorn.Server(
        uvicorn.Config(
            app,
            host=settings.host,
            port=settings.port,
            loop="auto" if sys.platform == "win32" else "uvloop",
            http="httptools",
            ws="none",
            # what a client says about itself changes no address (matrix OPS-01), and the access
            # log of the server would hold query strings: ours does not
            proxy_headers=False,
            server_header=False,
            access_log=False,
            log_config=None,
            timeout_graceful_shutdown=10,
        )
    ).run()
    return OK
