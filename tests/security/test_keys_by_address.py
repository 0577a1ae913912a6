"""Keys that a client publishes at an address of its own: fetched over TLS, kept, changed."""

from __future__ import annotations

import asyncio
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import trustme
from tests.security.logins import Guarded, claims, ec_key, public, signed

from brachium.api.key_fetching import Fetched, Fetcher, KeyRing, Unreachable
from brachium.records import Client
from brachium.security.oauth import OAuthError


class Publisher:
    """Keys at ``https://localhost:PORT/keys``; what it answers can be changed."""

    def __init__(self, port: int) -> None:
        self.address = f"https://localhost:{port}/keys"
        self.status, self.headers, self.body = 200, {}, public(ec_key())
        self.asked = 0


@contextmanager
def published(folder: Path) -> Iterator[Publisher]:
    authority = trustme.CA()
    authority.cert_pem.write_to_path(folder / "ca.pem")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost").configure_cert(context)

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            publisher.asked += 1
            publisher.host = self.headers["Host"]
            self.send_response(publisher.status)
            for name, value in publisher.headers.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(publisher.body)

        def log_message(self, *_: object) -> None:
            pass

    class Quiet(ThreadingHTTPServer):
        def handle_error(self, *_: object) -> None:
            pass

    with Quiet(("127.0.0.1", 0), Handler) as server:
        server.socket = context.wrap_socket(server.socket, server_side=True)
        publisher = Publisher(server.server_address[1])
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        try:
            yield publisher
        finally:
            server.shutdown()
            thread.join()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("keys")


@pytest.fixture(scope="module")
def publisher(folder):
    with published(folder) as found:
        yield found


def fetched(address: str, **options: object) -> Fetched:
    return asyncio.run(Fetcher(**options)(address))


def test_sec_06_keys_are_fetched_over_tls(publisher, folder):
    publisher.headers = {"Cache-Control": "max-age=120"}
    found = fetched(publisher.address, ca_file=folder / "ca.pem", private=True)
    assert found == Fetched(public(ec_key()), 120)
    assert publisher.host == publisher.address.removeprefix("https://").removesuffix("/keys")


def test_sec_06_a_publisher_nobody_vouches_for_is_refused(publisher):
    with pytest.raises(Unreachable, match="ConnectError"):
        fetched(publisher.address, private=True)


def test_sec_06_a_certificate_for_another_name_is_refused(publisher, folder):
    with pytest.raises(Unreachable, match="ConnectError"):
        fetched(
            publisher.address.replace("localhost", "127.0.0.1"),
            ca_file=folder / "ca.pem",
            private=True,
        )


@pytest.mark.parametrize(
    "address",
    [
        "https://localhost/keys",
        "https://127.0.0.1/keys",
        "https://10.0.0.1/keys",
        "https://169.254.169.254/keys",
        "https://[::1]/keys",
        "https://[::ffff:10.0.0.1]/keys",
        "https://[fd00::1]/keys",
        "https://0.0.0.0/keys",
    ],
)
def test_sec_06_private_addresses_are_not_asked(address):
    with pytest.raises(Unreachable, match="private"):
        fetched(address)


@pytest.mark.parametrize("address", ["http://localhost/keys", "file:///etc/passwd", "https://"])
def test_sec_06_only_https_is_asked(address):
    with pytest.raises(Unreachable):
        fetched(address, private=True)


@pytest.mark.parametrize(
    ("status", "headers", "body", "told"),
    [
        (302, {"Location": "https://localhost/elsewhere"}, b"", "status 302"),
        (404, {}, b"", "status 404"),
        (200, {}, b"x" * 70_000, "more than"),
    ],
)
def test_sec_06_redirects_and_long_answers_are_refused(
    publisher, folder, monkeypatch, status, headers, body, told
):
    for name, value in (("status", status), ("headers", headers), ("body", body)):
        monkeypatch.setattr(publisher, name, value)
    with pytest.raises(Unreachable, match=told):
        fetched(publisher.address, ca_file=folder / "ca.pem", private=True)


@pytest.mark.parametrize(
    ("headers", "age"),
    [
        ({}, 300),
        ({"Cache-Control": "no-store"}, 0),
        ({"Cache-Control": "public, max-age=60"}, 60),
        ({"Cache-Control": "max-age=60", "Age": "45"}, 15),
        ({"Cache-Control": "max-age=60", "Age": "99"}, 0),
        ({"Cache-Control": "max-age=999999999"}, 86_400),
        ({"Cache-Control": "max-age=60, no-cache"}, 0),
    ],
)
def test_sec_06_keys_are_kept_no_longer_than_the_publisher_says(
    publisher, folder, monkeypatch, headers, age
):
    monkeypatch.setattr(publisher, "headers", headers)
    assert fetched(publisher.address, ca_file=folder / "ca.pem", private=True).age == age


def test_sec_06_a_published_key_logs_in_and_a_new_one_without_a_restart(
    publisher, folder, tmp_path, monkeypatch
):
    monkeypatch.setattr(publisher, "headers", {"Cache-Control": "max-age=600"})
    settings = {"ca_file": folder / "ca.pem", "private_key_addresses": True}
    with Guarded(tmp_path, **settings) as service:
        service.register("remote", "engineer", "system/*.rs", keys=b"", keys_at=publisher.address)
        assert service.login(signed(claims("remote"))).status_code == 200
        before = publisher.asked
        assert service.login(signed(claims("remote"))).status_code == 200
        assert publisher.asked == before
        monkeypatch.setattr(publisher, "body", public(ec_key(), ec_key("ec-2")))
        assert service.login(signed(claims("remote"), ec_key("ec-2"))).status_code == 200
        assert service.login(signed(claims("remote"), jku=publisher.address)).status_code == 200


class Told:
    """Answers in the place of a publisher, on a clock."""

    def __init__(self) -> None:
        self.now, self.asked = 0.0, 0
        self.body: bytes | None = public(ec_key())
        self.age = 100
        self.ring = KeyRing(self.fetch, lambda: self.now)

    async def fetch(self, _address: str) -> Fetched:
        self.asked += 1
        if self.body is None:
            raise Unreachable("ConnectError")
        return Fetched(self.body, self.age)

    def keys(self, kid: str = "ec-1") -> set[str]:
        client = Client("a", "a", "engineer", "system/*.rs", keys_at="https://a.example.org/keys")
        return set(asyncio.run(self.ring.of(client, kid)))


def test_sec_06_an_old_key_is_refused_once_the_kept_keys_lapse():
    told = Told()
    assert told.keys() == {"ec-1"}
    told.body = public(ec_key("ec-2"))
    told.now = 99
    assert told.keys() == {"ec-1"}
    told.now = 100
    assert told.keys() == {"ec-2"}
    assert told.asked == 2


def test_sec_06_fresh_keys_serve_while_the_publisher_is_away_and_old_ones_do_not():
    told = Told()
    assert told.keys() == {"ec-1"}
    told.body = None
    told.now = 50
    assert told.keys("other") == {"ec-1"}
    told.now = 100
    with pytest.raises(OAuthError) as refused:
        told.keys()
    assert refused.value.code == "invalid_client"
    assert "a.example.org" not in refused.value.words


@pytest.mark.parametrize("body", [b"{", b"[]", b'{"keys":7}'])
def test_sec_06_what_is_no_set_of_keys_is_refused(body):
    told = Told()
    told.body = body
    with pytest.raises(OAuthError):
        told.keys()


def test_a_publisher_is_not_asked_without_end():
    told = Told()
    told.age = 0
    for _ in range(60):
        assert told.keys() == {"ec-1"}
    assert told.keys() == set()
    assert told.asked == 60
    told.now = 60
    assert told.keys() == {"ec-1"}
