"""A service that is killed in the middle of an export goes on with it when it runs again."""

from __future__ import annotations

import json
import sqlite3
import time

import httpx
from tests.cli.test_serve import Running
from tests.store.many import fill

from brachium.settings import Settings
from brachium.wiring import opened

OBSERVATIONS = 10_000


def seeded(database) -> None:
    store = opened(Settings(database=database))
    fill(store, OBSERVATIONS)
    store.close()


def test_blk_22_killed_in_the_middle_it_goes_on_and_has_everything_once(tmp_path):
    seeded(tmp_path / "served.sqlite3")
    service = Running(tmp_path)
    answer = httpx.get(f"{service.base}/fhir/$export", timeout=20)
    path = answer.headers["content-location"].split(service.base)[1]
    folder = tmp_path / "served.sqlite3.exports" / path.rsplit("/", 1)[1]
    until(lambda: any(folder.glob("*.part")), 0.002)
    service.process.kill()
    service.process.wait(timeout=20)
    with sqlite3.connect(tmp_path / "served.sqlite3") as db:
        (state,) = db.execute("SELECT state FROM export_job").fetchone()
    db.close()
    assert state == "running", "killed too late to show anything"
    service = Running(tmp_path)
    until(lambda: httpx.get(f"{service.base}{path}", timeout=20).status_code == 200)
    manifest = httpx.get(f"{service.base}{path}", timeout=20).json()
    found = []
    for item in manifest["output"]:
        text = httpx.get(f"{service.base}/fhir/{item['url'].split('/fhir/')[1]}", timeout=60).text
        found += [(one["resourceType"], one["id"]) for one in map(json.loads, text.splitlines())]
    service.stop()
    assert len(found) == len(set(found))
    assert len([key for key in found if key[0] == "Observation"]) == OBSERVATIONS
    assert not list(folder.glob("*.part"))


def until(holds, pause: float = 0.3) -> None:
    """Wait for something, not for ever."""
    deadline = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(pause)
