"""kill -9 in the middle of a stream of posts: what was answered with 201 is there, none is half."""

from __future__ import annotations

import http.client
import json
import random
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
from tests.cli.test_serve import Running

from brachium.store.copies import damage

EXAMPLE = Path(__file__).parents[2] / "examples" / "elbow-after-fracture.json"
KILLS = 20
LANES = 3
HEADERS = {"Content-Type": "application/json"}


class Stream(threading.Thread):
    """Posts exams until the connection breaks; remembers what was promised."""

    def __init__(self, port: int, bodies: Iterator[bytes]) -> None:
        super().__init__()
        self._port, self._bodies = port, bodies
        self.promised: list[str] = []

    def run(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=20)
        try:
            for body in self._bodies:
                connection.request("POST", "/exams", body, HEADERS)
                answer = connection.getresponse()
                content = json.loads(answer.read())
                assert answer.status == http.HTTPStatus.CREATED, content
                self.promised.append(content["id"])
        except (OSError, http.client.HTTPException):
            return
        finally:
            connection.close()


def bodies(lane: str) -> Iterator[bytes]:
    exam = json.loads(EXAMPLE.read_bytes())
    for number in range(100_000):
        exam["identifier"]["value"] = f"KILL-{lane}-{number}"
        yield json.dumps(exam).encode()


def stream_until_killed(folder: Path, round_number: int, moment: float) -> list[str]:
    service = Running(folder)
    streams = [Stream(service.port, bodies(f"{round_number}-{lane}")) for lane in range(LANES)]
    for stream in streams:
        stream.start()
    time.sleep(moment)
    service.process.kill()
    service.process.wait(timeout=20)
    for stream in streams:
        stream.join(timeout=30)
    return [one for stream in streams for one in stream.promised]


def shape(bundle: dict[str, Any]) -> list[tuple[str, str]]:
    """What a bundle is made of, without what differs between two posts of the same findings."""
    resources = [entry["resource"] for entry in bundle["entry"]]
    return sorted((one["resourceType"], one.get("code", {}).get("text", "")) for one in resources)


def test_exm_05_bnd_06_nothing_promised_is_lost_and_nothing_is_half(tmp_path):
    chance = random.Random(9)
    promised: list[str] = []
    for number in range(KILLS):
        moment = chance.uniform(0.05, 0.6)
        promised += stream_until_killed(tmp_path, number, moment)
    assert len(promised) > KILLS, "too few posts came through to show anything"

    service = Running(tmp_path)
    with closing(sqlite3.connect(service.database)) as db:
        assert damage(db) == []
        stored = [row[0] for row in db.execute("SELECT id FROM exam")]
    assert set(promised) <= set(stored)
    with httpx.Client(base_url=service.base) as client:
        preview = client.post("/exams?dry-run=true", content=EXAMPLE.read_bytes(), headers=HEADERS)
        whole = shape(preview.json()["bundle"])
        for exam in stored:
            answer = client.get(f"/exams/{exam}/bundle")
            assert answer.status_code == http.HTTPStatus.OK
            assert shape(answer.json()) == whole
    service.stop()
