"""How long a page takes, early and late, over a hundred thousand Observations with a writer beside.

``python -m tests.benchmarks.paging`` walks all of them over HTTP by the links ``next`` while exams
are posted, corrected and withdrawn. It fails when one is missing or comes twice.
"""

from __future__ import annotations

import http.client
import json
import statistics
import tempfile
import threading
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.api.walking import Writer, name, pages
from tests.benchmarks.served import Served, served
from tests.store import many
from tests.store.exams import opened

OBSERVATIONS, PAGE = 100_000, 250
AT = (15, 100, 200, 300, 385)
BESIDE = 15
Json = Any


class Asked:
    """One kept connection, and how long each answer took in seconds."""

    def __init__(self, service: Served) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=60)
        self.taken: list[float] = []

    def send(
        self, method: str, address: str, body: Json = None, version: int | None = None
    ) -> Json:
        """Return the JSON of an answer, which must be a success."""
        headers = {"Content-Type": "application/json"}
        if version:
            headers["If-Match"] = f'W/"{version}"'
        split = urlsplit(address)
        path = f"{split.path}?{split.query}" if split.query else split.path
        start = time.perf_counter()
        self._connection.request(method, path, json.dumps(body) if body else None, headers)
        answer = self._connection.getresponse()
        content = answer.read()
        self.taken.append(time.perf_counter() - start)
        if answer.status >= http.HTTPStatus.BAD_REQUEST:
            raise RuntimeError(f"{method} {split.path}: {answer.status}")
        return json.loads(content)

    def get(self, address: str) -> Json:
        """Return the Bundle at an address."""
        return self.send("GET", address)


class Beside(threading.Thread):
    """Writes until told to stop."""

    def __init__(self, service: Served) -> None:
        super().__init__()
        asked = Asked(service)
        self.writer = Writer(lambda *call: str(asked.send(*call)["id"]))
        self.stopped = threading.Event()
        self.rounds = 0
        self.failed: list[Exception] = []

    def run(self) -> None:
        """Post, correct and withdraw, again and again."""
        try:
            while not self.stopped.wait(0.05):
                self.writer.disturb()
                self.rounds += 1
        except Exception as error:  # noqa: BLE001 - told at the end of the walk
            self.failed.append(error)


def measure() -> list[str]:
    """Return the figures as lines of text."""
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "many.sqlite3"
        store = opened(database)
        many.fill(store, OBSERVATIONS)
        store.close()
        with served("brachium", "serve", BRACHIUM_DATABASE=str(database)) as service:
            return _walked(service)


def _walked(service: Served) -> list[str]:
    beside = Beside(service)
    for _ in range(20):
        beside.writer.post()
    asked = Asked(service)
    total = asked.get("/fhir/Observation?_summary=count")["total"]
    asked.taken.clear()
    beside.start()
    try:
        walk = pages(asked.get, f"/fhir/Observation?_count={PAGE}")
        seen = [name(entry) for entries in walk for entry in entries]
    finally:
        beside.stopped.set()
        beside.join()
    once = {address for address, _ in seen}
    if beside.failed or not len(seen) == len(once) == total or {v for _, v in seen} != {"1"}:
        raise RuntimeError(
            f"{total} there, {len(seen)} seen, {len(once)} different, {beside.failed}"
        )
    return _lines(asked.taken, total, beside.rounds)


def _lines(taken: list[float], total: int, rounds: int) -> list[str]:
    writing = "an exam posted, one corrected and one withdrawn"
    lines = [f"{total} Observations, each once, in {len(taken)} pages of {PAGE}"]
    lines.append(f"beside {rounds} rounds of {writing}")
    for number in AT:
        near = taken[max(0, number - BESIDE) : number + BESIDE]
        middle, best = 1000 * statistics.median(near), 1000 * min(near)
        about = f"median, {best:.1f} the fastest, of {len(near)} pages around it"
        lines.append(f"page {number:>4}: {middle:6.1f} ms ({about})")
    return lines


if __name__ == "__main__":
    for line in measure():
        print(line, flush=True)
