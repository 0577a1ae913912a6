"""Asking for an export, its manifest, its end."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

import pytest
from tests.api.serving import BASE, inside
from tests.bulk.jobs import named, stored, types, withdraw
from tests.bulk.test_kick_off import refused

from brachium.api.bulk_status import Polls


def test_blk_05_in_progress_tells_how_far_and_when_to_ask_again(exports):
    answer = exports.ask(exports.begun())
    assert answer.status_code == 202
    assert 0 < len(answer.headers["x-progress"]) < 100
    assert int(answer.headers["retry-after"]) > 0
    assert answer.content == b""


def test_blk_06_polling_too_fast_is_slowed_down_and_the_job_survives(exports):
    place = exports.begun()
    answers = [exports.ask(place) for _ in range(10)]
    slowed = [one for one in answers if one.status_code == 429]
    assert slowed
    assert {one.status_code for one in answers} == {202, 429}
    refused(slowed[0], 429)
    assert int(slowed[0].headers["retry-after"]) > 0
    exports.carried_out()
    assert exports.bulk.find(place.rsplit("/", 1)[1], "") is not None


def test_blk_06_polls_are_counted_for_each_job_and_second():
    now = [0.0]
    polls = Polls(2, 1.0, lambda: now[0])
    assert [polls.too_fast("a") for _ in range(4)] == [False, False, True, True]
    assert not polls.too_fast("b")
    now[0] = 1.0
    assert not polls.too_fast("a")


def test_blk_07_the_manifest_has_every_member(exports):
    path = "/fhir/$export?_type=Observation,Patient"
    place = exports.begun(path)
    exports.carried_out()
    answer = exports.ask(place)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    assert parsedate_to_datetime(answer.headers["expires"]) > datetime.now(UTC)
    manifest = answer.json()
    assert set(manifest) == {"transactionTime", "request", "requiresAccessToken", "output", "error"}
    assert manifest["request"] == f"{BASE}{path}"
    assert manifest["requiresAccessToken"] is False
    assert datetime.fromisoformat(manifest["transactionTime"]).tzinfo is not None
    assert manifest["error"] == []
    for item in manifest["output"]:
        assert set(item) == {"type", "url", "count"}
        assert item["url"].startswith(f"{BASE}/fhir/")


def test_blk_08_everything_is_there_once_and_is_what_is_stored(exports, clinic):
    assert named(exports.exported()) == stored(clinic)


def test_blk_08_types_without_resources_have_no_item(exports):
    manifest = exports.done("/fhir/$export?_since=2999-01-01T00:00:00Z")
    assert manifest["output"] == []


def test_blk_11_deleted_exports_are_gone_with_their_files(exports):
    place = exports.begun()
    exports.carried_out()
    url = inside(exports.manifest(place)["output"][0]["url"])
    folder = exports.bulk.folders.of(place.rsplit("/", 1)[1])
    assert list(folder.iterdir())
    assert exports.ask(place, "DELETE").status_code == 202
    for method, gone in (("GET", place), ("GET", url), ("DELETE", place)):
        refused(exports.ask(gone, method), 404)
    assert not folder.exists()


def test_blk_11_a_running_export_can_be_deleted(exports):
    place = exports.begun()
    assert exports.ask(place, "DELETE").status_code == 202
    exports.carried_out()
    refused(exports.ask(place), 404)


def poison(clinic, kind: str) -> str:
    """Spoil one stored resource behind the back of the service and return its id."""
    with sqlite3.connect(clinic.parts.settings.database) as db:
        db.execute("DROP TRIGGER resource_version_never_update")
        query = "SELECT max(pk), id FROM resource_version WHERE type = ?"
        key, identity = db.execute(query, (kind,)).fetchone()
        db.execute("UPDATE resource_version SET text = ? WHERE pk = ?", (b'{"half', key))
    db.close()
    return identity


def test_blk_12_one_bad_resource_is_told_and_all_others_come(fresh):
    before = stored(fresh.serving)
    identity = poison(fresh.serving, "Observation")
    manifest = fresh.done()
    (told,) = fresh.lines(manifest, "error")
    assert told["issue"][0]["severity"] == "error"
    assert f"Observation/{identity}" in told["issue"][0]["details"]["text"]
    del before["Observation", identity]
    assert named(fresh.lines(manifest)) == before


def test_blk_12_an_export_that_fails_altogether_is_500(exports, monkeypatch):
    place = exports.begun()

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("nothing that a client should see")

    monkeypatch.setattr(type(exports.bulk.tools.store), "search", broken)
    exports.carried_out()
    monkeypatch.undo()
    answer = exports.ask(place)
    refused(answer, 500)
    assert "nothing that" not in answer.text
    assert exports.ask(place, "DELETE").status_code == 202


def test_blk_13_withdrawn_records_come_as_entered_in_error(fresh):
    first = fresh.done()
    withdraw(fresh.serving, fresh.serving.receipts[0])
    manifest = fresh.done(f"/fhir/$export?_since={first['transactionTime']}")
    assert "deleted" not in manifest
    found = fresh.lines(manifest)
    said = {one["status"] for one in found if one["resourceType"] == "Observation"}
    assert said == {"entered-in-error"}
    assert types(found) >= {"Observation", "DiagnosticReport", "Provenance"}


def test_blk_15_the_tag_of_the_manifest_stays_while_it_says_the_same(exports):
    place = exports.begun()
    exports.carried_out()
    first = exports.ask(place)
    assert exports.ask(place).headers["etag"] == first.headers["etag"]
    again = exports.ask(place, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize("job", ["nothing", "0" * 48, "%2e%2e", "..%2f..%2ftest.sqlite3", "lock"])
def test_sec_17_no_job_is_found_by_guessing(exports, job):
    exports.done()
    refused(exports.ask(f"/fhir/$export-jobs/{job}"), 404)
    refused(exports.ask(f"/fhir/$export-jobs/{job}/00001.Patient.ndjson"), 404)


@pytest.mark.parametrize("name", ["..%2f..%2ftest.sqlite3", "..%2flock", "00009.Patient.ndjson"])
def test_sec_17_no_file_is_found_by_walking(exports, name):
    place = exports.begun()
    exports.carried_out()
    refused(exports.ask(f"{place}/{name}"), 404)
