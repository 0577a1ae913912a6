"""Export a million Observations: memory over the idle service, speed along the way, and a crash.

``python -m tests.benchmarks.bulk_export [FOLDER] [OBSERVATIONS]`` seeds a database in FOLDER, or
uses the one that an earlier run left there, and prints its figures. It is no part of the other
benchmarks, because the seeding takes minutes and the database some gigabytes.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import httpx
from tests.cli.test_serve import Running

from brachium.intake.receive import dry_run
from brachium.records import ExamVersion, Resource
from brachium.settings import Settings
from brachium.wiring import opened, tools, utc_now

ROOT = Path(__file__).resolve().parents[2]
PER_EXAM = 200
NAME = "served.sqlite3"


def seed(folder: Path, observations: int) -> None:
    """Fill a database with exams of real Observations of 1 to 2 kB, each under an id of its own."""
    store = opened(Settings(database=folder / NAME))
    raw = (ROOT / "examples" / "elbow-after-fracture.json").read_bytes()
    coded = dry_run(tools(Settings()).bench, raw).exam
    assert coded is not None
    findings = [one for one in coded.resources if one.type == "Observation"]
    started = time.perf_counter()
    for number in range(observations // PER_EXAM):
        store.add(_exam(coded, findings, number), None)
        if number % 500 == 499:
            took = time.perf_counter() - started
            print(f"seeded {(number + 1) * PER_EXAM} in {took:.0f} s", flush=True)
    store.close()


def _exam(coded: ExamVersion, findings: list[Resource], number: int) -> ExamVersion:
    resources = [
        one._replace(id=str(uuid.uuid5(uuid.NAMESPACE_URL, f"{number}/{place}")))
        for place, one in enumerate((findings * PER_EXAM)[:PER_EXAM])
    ]
    name = f"BULK-{number}"
    identity = str(uuid.uuid5(uuid.NAMESPACE_URL, name))
    changed = {"id": identity, "value": name, "digest": name, "recorded": utc_now()}
    return replace(coded, resources=tuple(resources), **changed)


def resident(service: Running) -> float:
    """The memory of a service, in MiB."""
    status = Path(f"/proc/{service.process.pid}/status").read_text()
    (line,) = [one for one in status.splitlines() if one.startswith("VmRSS")]
    return int(line.split()[1]) / 1024


def worked(service: Running) -> float:
    """The processor time that a service has used, in seconds; other programs do not change it."""
    fields = Path(f"/proc/{service.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def begun(service: Running) -> str:
    answer = httpx.get(f"{service.base}/fhir/$export?_type=Observation", timeout=60)
    assert answer.status_code == 202, answer.text
    return answer.headers["content-location"]


def polled(service: Running, place: str) -> Iterator[int | dict]:
    """How many resources are in finished files, again and again, then the manifest."""
    path = place.split("/fhir/")[1]
    while True:
        answer = httpx.get(f"{service.base}/fhir/{path}", timeout=60)
        if answer.status_code == 200:
            yield answer.json()
            return
        assert answer.status_code == 202, answer.text
        yield int(answer.headers["x-progress"].split()[0])
        time.sleep(0.5)


def watched(service: Running, place: str, idle: float) -> dict:
    """Print speed and memory file by file; return the manifest."""
    started = last = time.perf_counter()
    most, before, used = idle, -1, worked(service)
    for found in polled(service, place):
        most = max(most, resident(service))
        if isinstance(found, dict):
            took = time.perf_counter() - started
            total = sum(one["count"] for one in found["output"])
            print(f"{total} resources in {took:.1f} s: {total / took:.0f} a second")
            print(f"memory: idle {idle:.0f} MiB, most {most:.0f} MiB, over idle {most - idle:.0f}")
            return found
        if before < 0:
            before = found
        elif found != before:
            now, work = time.perf_counter(), worked(service)
            speed, cost = (found - before) / (now - last), (work - used) / (found - before)
            print(f"  up to {found}: {speed:.0f} a second, {cost * 1e6:.0f} us of work each")
            last, before, used = now, found, work
    raise AssertionError("there is always a manifest")


def complete(service: Running, manifest: dict) -> None:
    """Check that every Observation is there once."""
    ids, lines = set(), 0
    for item in manifest["output"]:
        path = item["url"].split("/fhir/")[1]
        headers = {"Accept-Encoding": "identity"}
        with httpx.stream("GET", f"{service.base}/fhir/{path}", headers=headers) as answer:
            for line in answer.iter_lines():
                ids.add(uuid.UUID(json.loads(line)["id"]).bytes)
                lines += 1
    counts = [item["count"] for item in manifest["output"]]
    sizes = f"{min(counts)} to {max(counts)} lines"
    print(f"{len(counts)} files of {sizes}; {lines} lines, {len(ids)} ids")
    assert lines == len(ids) == sum(counts)


def main(folder: Path, observations: int) -> None:
    """Seed when needed, then export twice: undisturbed, and killed in the middle."""
    if not (folder / NAME).exists():
        seed(folder, observations)
    service = Running(folder)
    idle = resident(service)
    complete(service, watched(service, begun(service), idle))
    place = begun(service)
    for found in polled(service, place):
        if isinstance(found, dict) or found > observations / 2:
            break
    service.process.kill()
    service.process.wait()
    print(f"killed with {found} of {observations} resources in finished files")
    service = Running(folder)
    manifest = watched(service, place, resident(service))
    complete(service, manifest)
    assert sum(one["count"] for one in manifest["output"]) == observations
    service.stop()


if __name__ == "__main__":
    given = sys.argv[1:]
    with tempfile.TemporaryDirectory() as made:
        main(Path(given[0] if given else made), int(given[1]) if len(given) > 1 else 1_000_000)
