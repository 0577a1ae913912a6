"""Where the service listens, and TLS as a client of the network sees it."""

from __future__ import annotations

import os
import socket
import ssl
import subprocess
import sys
import time
import warnings

import httpx
import pytest
import trustme
from tests.cli.test_offline import brachium
from tests.cli.test_serve import free_port

from brachium.cli.serve import configured, exposed
from brachium.settings import Settings

EVERYWHERE = "0.0.0.0"  # noqa: S104 - told to listen there, in order to be refused


class Book:
    """Says whether a client is registered."""

    def __init__(self, *, some: bool) -> None:
        self.protected = lambda: some


@pytest.mark.parametrize(
    ("changed", "registered", "told"),
    [
        ({}, False, None),
        ({"host": "::1"}, False, None),
        ({"host": EVERYWHERE}, False, "no client is registered"),
        ({"host": EVERYWHERE}, True, "TLS"),
        ({"host": EVERYWHERE, "proxies": ("10.0.0.5",)}, True, "PUBLIC_BASE"),
        (
            {"host": EVERYWHERE, "proxies": ("10.0.0.5",), "public_base": "https://a.example"},
            True,
            None,
        ),
        (
            {"host": EVERYWHERE, "proxies": ("10.0.0.5",), "public_base": "https://a.example"},
            False,
            "no client is registered",
        ),
    ],
)
def test_sec_01_the_service_is_not_reached_unprotected(changed, registered, told):
    why_not = exposed(Settings(**changed), Book(some=registered))
    assert (why_not is None) == (told is None)
    assert told is None or told in why_not


def test_sec_01_a_certificate_is_enough_to_listen(tmp_path):
    pem = tmp_path / "a.pem"
    settings = Settings(
        host=EVERYWHERE, tls_cert=pem, tls_key=pem, public_base="https://a.example.org"
    )
    assert exposed(settings, Book(some=True)) is None
    assert exposed(settings, Book(some=False))


def test_a_certificate_that_is_none_is_said_plainly(tmp_path):
    pem = tmp_path / "a.pem"
    pem.write_text("none")
    database = ("--database", tmp_path / "a.sqlite3", "--port", free_port())
    done = brachium("serve", *database, BRACHIUM_TLS_CERT=str(pem), BRACHIUM_TLS_KEY=str(pem))
    assert done.returncode == 2
    assert b"TLS certificate" in done.stderr
    assert b"Traceback" not in done.stderr


@pytest.fixture(scope="module")
def secured(tmp_path_factory):
    """A service with TLS, and a registered client."""
    folder = tmp_path_factory.mktemp("tls")
    authority = trustme.CA()
    authority.cert_pem.write_to_path(folder / "ca.pem")
    issued = authority.issue_cert("127.0.0.1")
    issued.cert_chain_pems[0].write_to_path(folder / "cert.pem")
    issued.private_key_pem.write_to_path(folder / "key.pem")
    database = ("--database", str(folder / "a.sqlite3"))
    key = ("--make-key", str(folder / "key.jwks"))
    assert brachium("clients", "add", "a", "--role", "engineer", *key, *database).returncode == 0
    port = free_port()
    command = [sys.executable, "-m", "brachium", "serve", "--port", str(port), *database]
    environment = {
        **{k: v for k, v in os.environ.items() if not k.startswith("BRACHIUM_")},
        "BRACHIUM_TLS_CERT": str(folder / "cert.pem"),
        "BRACHIUM_TLS_KEY": str(folder / "key.pem"),
    }
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
    try:
        yield port, _ready(port, folder, process), folder
    finally:
        process.terminate()
        process.wait(timeout=20)


def _ready(port, folder, process):
    trust = ssl.create_default_context(cafile=folder / "ca.pem")
    for _ in range(300):
        try:
            httpx.get(f"https://127.0.0.1:{port}/live", verify=trust, timeout=5)
        except httpx.TransportError:
            assert process.poll() is None, (folder / "log").read_text()
            time.sleep(0.05)
        else:
            return trust
    pytest.fail((folder / "log").read_text())


def greeted(port, context) -> str | None:
    """The version of TLS that was agreed on."""
    with (
        socket.create_connection(("127.0.0.1", port), timeout=10) as plain,
        context.wrap_socket(plain, server_hostname="127.0.0.1") as secure,
    ):
        return secure.version()


def test_sec_01_tls_1_2_and_later_are_spoken_and_nothing_older(secured):
    port, _, folder = secured
    for version in (ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3):
        context = ssl.create_default_context(cafile=folder / "ca.pem")
        context.minimum_version = context.maximum_version = version
        assert greeted(port, context) == version.name.replace("_", ".")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        context = ssl.create_default_context(cafile=folder / "ca.pem")
        context.set_ciphers("ALL:@SECLEVEL=0")
        context.minimum_version = context.maximum_version = ssl.TLSVersion.TLSv1_1
        with pytest.raises(ssl.SSLError) as refused:
            greeted(port, context)
    # the other side ended it; had this side been unable to ask, the reason would be another
    assert refused.value.reason in (
        "TLSV1_ALERT_PROTOCOL_VERSION",
        "UNEXPECTED_EOF_WHILE_READING",
    )


def test_sec_01_the_server_itself_is_told_the_oldest_version(secured):
    _, _, folder = secured
    settings = Settings(tls_cert=folder / "cert.pem", tls_key=folder / "key.pem")
    config = configured(lambda *_: None, settings)
    assert config.ssl.minimum_version is ssl.TLSVersion.TLSv1_2


def through(service, settings, peer, **headers):
    """The status that a request from an address gets when the server has passed it on."""
    app = configured(service.app, settings).loaded_app
    sent = service.as_client() | {name.replace("_", "-"): text for name, text in headers.items()}

    async def once():
        transport = httpx.ASGITransport(app=app, client=(peer, 4000))
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as asking:
            return await asking.get("/fhir/Patient", headers=sent)

    return service._runner.run(once()).status_code


def test_ops_01_sec_01_what_a_proxy_says_counts_if_it_is_named(guarded):
    proxied = Settings(proxies=("10.0.0.5",))
    secure = {"X_Forwarded_For": "203.0.113.9", "X_Forwarded_Proto": "https"}
    plain = {"X_Forwarded_For": "203.0.113.9", "X_Forwarded_Proto": "http"}
    assert through(guarded, proxied, "10.0.0.5", **secure) == 200
    assert through(guarded, proxied, "10.0.0.5", **plain) == 426
    # anybody else who says so reaches plain http, which is not answered
    assert through(guarded, proxied, "10.0.0.6", **secure) == 426
    assert through(guarded, Settings(), "10.0.0.5", **secure) == 426
    # and cannot pass for this machine
    near = {"X_Forwarded_For": "127.0.0.1", "X_Forwarded_Proto": "http"}
    assert through(guarded, proxied, "10.0.0.6", **near) == 426


def test_ops_01_only_named_proxies_are_believed():
    assert not configured(lambda *_: None, Settings()).proxy_headers
    config = configured(lambda *_: None, Settings(proxies=("10.0.0.5",)))
    assert config.proxy_headers
    assert config.forwarded_allow_ips == ["10.0.0.5"]


def test_sec_01_plain_http_is_closed_and_browsers_keep_to_tls(secured):
    port, trust, _ = secured
    with pytest.raises(httpx.TransportError):
        httpx.get(f"http://127.0.0.1:{port}/live", timeout=5)
    with httpx.Client(base_url=f"https://127.0.0.1:{port}", verify=trust) as client:
        answer = client.get("/fhir/metadata")
        assert answer.json()["implementation"]["url"] == f"https://127.0.0.1:{port}/fhir"
        assert answer.headers["strict-transport-security"].startswith("max-age=")
        assert client.get("/fhir/Patient").status_code == 401


def test_the_log_says_who_may_ask(secured):
    _, _, folder = secured
    log = (folder / "log").read_text()
    assert "Every request needs an access token" in log
    assert "PRIVATE KEY" not in log
