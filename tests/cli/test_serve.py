"""The service as a process: what only a real server shows."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
from tests.cli.test_offline import EXAMPLES, GOOD, brachium

from brachium.cli.serve import is_free, is_loopback

JSON = {"Content-Type": "application/json"}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Running:
    """A service on a free port; ``log`` is what it wrote."""

    def __init__(self, folder: Path, **environment: str) -> None:
        self.port = free_port()
        self.base = f"http://127.0.0.1:{self.port}"
        self.database = folder / "served.sqlite3"
        self.log = folder / "service.log"
        clean = {k: v for k, v in os.environ.items() if not k.startswith("BRACHIUM_")}
        command = [sys.executable, "-m", "brachium", "serve", "--port", str(self.port)]
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [*command, "--database", str(self.database)],
                stdout=log,
                stderr=log,
                env={**clean, **environment},
            )
        self._wait()

    def _wait(self) -> None:
        for _ in range(200):
            try:
                if httpx.get(f"{self.base}/ready", timeout=5).is_success:
                    return
            except httpx.TransportError:
                assert self.process.poll() is None, self.log.read_text()
                time.sleep(0.05)
        pytest.fail(self.log.read_text())

    def stop(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(timeout=20)


@pytest.fixture
def running(tmp_path):
    service = Running(tmp_path)
    yield service
    service.stop()


def test_a_real_server_stores_and_answers(running):
    with httpx.Client(base_url=running.base) as client:
        posted = client.post("/exams", content=GOOD.read_bytes(), headers=JSON)
        assert posted.status_code == 201
        assert posted.headers["location"].startswith(f"{running.base}/exams/")
        for link in posted.json()["links"].values():
            assert client.get(link).status_code == 200
        assert "server" not in posted.headers
        assert posted.headers["date"]
        head = client.head(posted.headers["location"])
        assert (head.status_code, head.content) == (200, b"")
        assert int(head.headers["content-length"]) > 1000


def test_exm_16_20_megabytes_are_refused_before_they_are_read(running):
    with httpx.Client(base_url=running.base, timeout=10) as client:
        answer = client.post(
            "/exams",
            content=b"[" * 20_000_000,
            headers={**JSON, "Accept": "application/fhir+json"},
        )
        assert answer.status_code == 413
        assert answer.json()["issue"][0]["code"] == "too-long"

        def pieces():
            for _ in range(320):
                yield b"[" * 65536

        streamed = client.post("/exams", content=pieces(), headers=JSON)
        assert streamed.status_code == 413
        assert client.get("/live").status_code == 200


def test_err_05_the_log_of_the_server_holds_no_patient_data(running):
    raw = GOOD.read_bytes()
    with httpx.Client(base_url=running.base) as client:
        posted = client.post("/exams?name=Zebulon", content=raw, headers=JSON)
        assert posted.status_code == 400
        posted = client.post("/exams", content=raw, headers={**JSON, "X-Request-Id": "t-77"})
        client.get(f"/fhir/Patient?identifier={EXAMPLES}|P-0102")
        client.get("/fhir/Zebulon/Quartermaine")
    assert running.stop() in (0, -signal.SIGTERM)
    log = running.log.read_text()
    assert "POST /exams 201" in log
    assert "t-77" in log
    for word in ("Zebulon", "Quartermaine", "P-0102", "saltmarsh", posted.json()["id"]):
        assert word not in log


def test_what_was_answered_with_201_is_there_after_a_restart(tmp_path):
    first = Running(tmp_path)
    posted = httpx.post(f"{first.base}/exams", content=GOOD.read_bytes(), headers=JSON)
    path = posted.headers["location"].removeprefix(first.base)
    bundle = httpx.get(f"{first.base}{path}/bundle?type=transaction").content
    first.process.kill()
    first.process.wait()
    second = Running(tmp_path)
    try:
        assert httpx.get(f"{second.base}{path}").status_code == 200
        again = httpx.post(f"{second.base}/exams", content=GOOD.read_bytes(), headers=JSON)
        assert again.status_code == 200
        answer = httpx.get(f"{second.base}{path}/bundle?type=transaction")
        assert answer.content == bundle
    finally:
        second.stop()


def post_good(base):
    return httpx.post(f"{base}/exams", content=GOOD.read_bytes(), headers=JSON, timeout=30)


def test_ops_02_ready_is_503_while_the_store_cannot_write(running):
    held = sqlite3.connect(running.database, isolation_level=None)
    try:
        held.execute("BEGIN EXCLUSIVE")
        with ThreadPoolExecutor(6) as waiting:
            posts = [waiting.submit(post_good, running.base) for _ in range(6)]
            time.sleep(0.5)
            # sooner than a write gives up, which waits 10 s for the lock
            answer = httpx.get(f"{running.base}/ready", timeout=8)
            held.execute("ROLLBACK")
        assert sorted(one.result().status_code for one in posts) == [200] * 5 + [201]
        assert answer.status_code == 503
        assert answer.headers["retry-after"]
        assert httpx.get(f"{running.base}/live").status_code == 200
    finally:
        held.close()
    assert httpx.get(f"{running.base}/ready").status_code == 200


def test_aud_11_what_is_read_waits_until_it_can_be_told(running):
    posted = httpx.post(f"{running.base}/exams", content=GOOD.read_bytes(), headers=JSON)
    held = sqlite3.connect(running.database, isolation_level=None)
    try:
        held.execute("BEGIN IMMEDIATE")
        with ThreadPoolExecutor(13) as waiting:
            reading = waiting.submit(httpx.get, posted.headers["location"], timeout=30)
            for _ in range(12):
                waiting.submit(post_good, running.base)
            time.sleep(0.5)
            assert not reading.done()
            # what nobody has to be told of is answered all the same
            assert httpx.get(f"{running.base}/catalogue", timeout=8).status_code == 200
            held.execute("ROLLBACK")
            assert reading.result().status_code == 200
    finally:
        held.close()


def test_ops_01_the_public_base_is_a_setting(tmp_path):
    base = "https://exams.example.org/arm"
    service = Running(tmp_path, BRACHIUM_PUBLIC_BASE=base)
    try:
        headers = {**JSON, "X-Forwarded-Host": "evil.example.net", "X-Forwarded-Proto": "http"}
        posted = httpx.post(f"{service.base}/exams", content=GOOD.read_bytes(), headers=headers)
        assert posted.headers["location"].startswith(f"{base}/exams/")
    finally:
        service.stop()


@pytest.mark.parametrize("host", ["192.0.2.1", "10.0.0.5", "::", "example.org", "127.0.0.1.nip.io"])
def test_addresses_that_others_can_reach_are_refused(tmp_path, host):
    database = tmp_path / "exams.sqlite3"
    done = brachium("serve", "--host", host, "--database", database)
    assert done.returncode == 2
    assert b"no login" in done.stderr


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.8.8", "::1", "localhost"])
def test_loopback_addresses_are_known(host):
    assert is_loopback(host)


def test_a_database_that_cannot_be_opened_is_said_plainly(tmp_path):
    done = brachium("serve", "--database", tmp_path / "nowhere" / "exams.sqlite3")
    assert done.returncode == 2
    assert b"the database file" in done.stderr
    assert b"Traceback" not in done.stderr


def test_a_port_in_use_is_said_plainly(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert not is_free("127.0.0.1", port)
        done = brachium("serve", "--port", port, "--database", tmp_path / "exams.sqlite3")
    assert done.returncode == 2
    assert b"in use" in done.stderr
    assert b"Traceback" not in done.stderr
