"""An exam of 120 findings posted over HTTP, stored durably and answered with its bundle."""

from __future__ import annotations

import itertools
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import orjson
from tests.benchmarks.bare_rows import BareRows, rows_of_one_exam
from tests.benchmarks.in_memory import EXAM
from tests.benchmarks.rounds import Measured
from tests.benchmarks.served import CLIENT_CORE, SERVER_CORE, pin, served

from brachium.settings import Settings
from brachium.store.criteria import Search
from brachium.wiring import build

ROUNDS = 7
POSTS, PEER_POSTS, BARE = 120, 4, 120


def bodies() -> Iterator[bytes]:
    """Yield the exam under ever new identifiers."""
    exam = orjson.loads(EXAM.read_bytes())
    for number in itertools.count():
        exam["identifier"]["value"] = f"BENCH-{number}"
        yield orjson.dumps(exam)


def measure() -> list[str]:
    """Return the figures as lines of text."""
    pin(CLIENT_CORE)
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        floor = _floor(home)
        with (
            served(
                "brachium",
                "serve",
                prefer="return=representation",
                BRACHIUM_DATABASE=str(home / "ours.sqlite3"),
            ) as ours,
            served("tests.benchmarks.peer_service", PEER_DATABASE=str(home / "peer")) as peer,
        ):
            fresh = bodies()
            ours.post_all(list(itertools.islice(fresh, POSTS)))
            peer.post_all(list(itertools.islice(fresh, PEER_POSTS)))
            taken: dict[str, list[float]] = {"ours": [], "floor": [], "peer": []}
            for _ in range(ROUNDS):
                batch = list(itertools.islice(fresh, POSTS))
                taken["ours"].append(ours.post_all(batch) / POSTS)
                taken["floor"].append(_bare(floor))
                batch = list(itertools.islice(fresh, PEER_POSTS))
                taken["peer"].append(peer.post_all(batch) / PEER_POSTS)
    return _lines({name: Measured(tuple(figures)) for name, figures in taken.items()})


def _floor(home: Path) -> BareRows:
    settings = Settings(database=home / "one.sqlite3")
    parts = build(settings)
    parts.intake.receive(next(bodies()))
    # a search finds what is stored, so it ends with the indexes complete
    parts.store.search(Search("Observation"), 1)
    parts.close()
    return BareRows(home / "bare.sqlite3", rows_of_one_exam(home / "one.sqlite3"))


def _bare(floor: BareRows) -> float:
    pin(SERVER_CORE)
    start = time.perf_counter()
    for _ in range(BARE):
        floor.write()
    taken = time.perf_counter() - start
    pin(CLIENT_CORE)
    return taken / BARE


def _lines(times: dict[str, Measured]) -> list[str]:
    rate = {name: 1 / measured.median for name, measured in times.items()}
    return [
        "over HTTP: the same exam, stored durably, answered with its bundle, one server core",
        f"  ours  {rate['ours']:8.1f} posts a second",
        f"  floor {rate['floor']:8.1f} transactions a second (bare SQLite, WAL, FULL, same rows)",
        f"  peer  {rate['peer']:8.1f} posts a second (FastAPI, fhir.resources, ORM)",
        f"  floor rate over ours: {times['ours'].over(times['floor'])}, goal at most 2",
        f"  ours rate over peer:  {times['peer'].over(times['ours'])}, goal at least 30",
    ]
