"""The moment of an export: everything up to it is there, and nothing newer."""

from __future__ import annotations

import json
import threading
from itertools import count

import pytest
from tests.api.serving import example
from tests.bulk.jobs import Exports, named, post, stored, withdraw
from tests.store.exams import at, first, opened

from brachium.api.app import create_app
from brachium.api.bulk_values import since
from brachium.bulk.carrying import Sizes
from brachium.store.port import Overtaken

Key = tuple[str, str]


def exam(number: int) -> dict:
    found = example("draft")
    found["identifier"]["value"] = f"CUT-{number}"
    return found


class Writers:
    """Post and withdraw exams until they are told to stop."""

    def __init__(self, serving, lanes: int = 3) -> None:
        self._intake = serving.parts.intake
        self._numbers = count(1000)
        self._stopping = threading.Event()
        self._threads = [threading.Thread(target=self._write) for _ in range(lanes)]

    def __enter__(self):
        for thread in self._threads:
            thread.start()

    def __exit__(self, *_: object) -> None:
        self._stopping.set()
        for thread in self._threads:
            thread.join()

    def _write(self) -> None:
        while not self._stopping.is_set():
            number = next(self._numbers)
            receipt = self._intake.receive(json.dumps(exam(number)).encode())
            if number % 3 == 0:
                assert self._intake.withdraw(receipt.exam.id, "wrong person", 1).exam


def test_blk_09_while_others_write_nothing_is_missed_and_nothing_comes_twice(fresh):
    moments, found = [], {}
    with Writers(fresh.serving):
        for _ in range(4):
            query = f"?_since={moments[-1]}" if moments else ""
            manifest = fresh.done(f"/fhir/$export{query}")
            part = named(fresh.lines(manifest))
            _check(part, manifest["transactionTime"], moments)
            moments.append(manifest["transactionTime"])
            found |= part
    found |= named(fresh.exported(f"/fhir/$export?_since={moments[-1]}"))
    everything = stored(fresh.serving)
    assert len(everything) > 100
    assert {key: one["meta"] for key, one in found.items()} == {
        key: one["meta"] for key, one in everything.items()
    }
    assert found == everything


def _check(part: dict[Key, dict], moment: str, before: list[str]) -> None:
    updated = [one["meta"]["lastUpdated"] for one in part.values()]
    assert max(updated, default="") <= moment
    if before:
        assert min(updated, default=moment) >= before[-1]


def test_blk_09_a_stamp_taken_before_an_export_and_stored_after_it_is_renewed(fresh):
    """The exam is coded, the export begins, the exam is stored: it must not be in neither."""
    desk = fresh.serving.parts.intake.desk
    stamps = []

    def look(_version) -> None:
        if not stamps:
            stamps.append(fresh.bulk.jobs.cut(desk.clock()).moment)

    fresh.serving.parts.intake.desk = type(desk)(**{**vars(desk), "look": look})
    fresh.serving.app = create_app(fresh.serving.parts)
    receipt = post(fresh.serving, exam(1))
    assert receipt["recorded"] > stamps[0]
    texts = fresh.serving.parts.store.resources(receipt["id"])
    assert {row.updated for row in texts} >= {receipt["recorded"]}
    recorded = [json.loads(row.text)["recorded"] for row in texts if row.type == "Provenance"]
    assert recorded == [receipt["recorded"]]


def test_blk_09_the_store_takes_nothing_with_a_stamp_before_the_cut(tmp_path):
    store = opened(tmp_path / "cut.sqlite3")
    store.add(first("EX-1", recorded=at(5)), None)
    cut = store.jobs.cut(at(10))
    assert cut.moment == at(10)
    for moment in (at(9), at(10)):
        with pytest.raises(Overtaken) as refused:
            store.add(first("EX-2", recorded=moment), None)
        assert refused.value.moment == at(10)
    assert store.exam("id-EX-2") is None
    store.add(first("EX-2", recorded=at(11)), None)
    # a clock that was put back: the cut still lies behind everything that is stored
    assert at(11) < store.jobs.cut(at(3)).moment < at(12)
    store.close()


def test_blk_09_a_repeat_is_answered_although_its_stamp_is_old(tmp_path):
    store = opened(tmp_path / "cut.sqlite3")
    store.add(first("EX-1", recorded=at(5)), None)
    store.jobs.cut(at(10))
    assert store.add(first("EX-1", recorded=at(7)), None).outcome == "same"
    store.close()


def test_blk_09_the_moment_stands_after_its_export_is_deleted(fresh):
    place = fresh.begun()
    fresh.carried_out()
    moment = fresh.manifest(place)["transactionTime"]
    fresh.ask(place, "DELETE")
    assert fresh.bulk.jobs.cut("2000-01-01T00:00:00.000Z").moment >= moment


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("2026-03-02T09:15:00Z", "2026-03-02T09:15:00.000Z"),
        ("2026-03-02T10:15:00+01:00", "2026-03-02T09:15:00.000Z"),
        ("2026-03-02T10:15:00 01:00", "2026-03-02T09:15:00.000Z"),
        ("2026-03-02T09:15:00.123Z", "2026-03-02T09:15:00.123Z"),
        ("2026-03-02T09:15:00.123456+00:00", "2026-03-02T09:15:00.124Z"),
        ("2026-03-02T09:15:00.123000001Z", "2026-03-02T09:15:00.124Z"),
        ("2026-03-02", "2026-03-02T00:00:00.000Z"),
    ],
)
def test_blk_04_since_is_an_instant_and_never_rounded_down(asked, meant):
    assert since(asked) == meant


def test_blk_04_since_takes_what_was_stored_just_then(fresh):
    receipt = post(fresh.serving, exam(1))
    found = fresh.exported(f"/fhir/$export?_since={receipt['recorded']}")
    assert {one["meta"]["lastUpdated"] for one in found} == {receipt["recorded"]}


def test_blk_13_since_brings_exactly_what_changed(fresh):
    moment = fresh.done()["transactionTime"]
    before = stored(fresh.serving)
    withdraw(fresh.serving, post(fresh.serving, exam(1)))
    after = stored(fresh.serving)
    changed = {key: one for key, one in after.items() if before.get(key) != one}
    assert changed
    assert named(fresh.exported(f"/fhir/$export?_since={moment}")) == changed


def test_blk_22_whoever_goes_on_writes_the_same_files(fresh):
    """Every place a job can be left at, gone on with by another, as after a crash."""
    whole = Exports(fresh.serving)
    small = Exports(fresh.serving, Sizes(fair=40, most=40))
    place = small.begun()
    job = place.rsplit("/", 1)[1]
    steps = 0

    def stopping() -> bool:
        nonlocal steps
        steps += 1
        return steps % 3 == 0

    bulk = small.bulk.stopping_when(stopping)
    while small.bulk.find(job, "").state == "running":
        bulk.work()
        # what a crash leaves behind
        (small.bulk.folders.of(job) / "00003.Observation.ndjson.part").write_bytes(b"half a li")
    assert steps > 10
    assert named(small.lines(small.manifest(place))) == named(whole.exported())
