"""The files: whole, in part, compressed, and gone when they expire."""

from __future__ import annotations

import gzip
import hashlib
import stat

import pytest
from tests.api.serving import inside
from tests.bulk.jobs import Exports, named, stored
from tests.bulk.test_kick_off import refused
from tests.store.many import fill

from brachium.bulk.carrying import Sizes

PLAIN = {"Accept-Encoding": "identity"}


@pytest.fixture
def file(exports):
    """The address of a file with its text."""
    manifest = exports.done("/fhir/$export?_type=Observation")
    url = inside(manifest["output"][0]["url"])
    return url, exports.ask(url, headers=PLAIN).content


def test_blk_14_a_file_is_the_same_bytes_every_time(exports, file):
    url, text = file
    answer = exports.ask(url, headers=PLAIN)
    assert hashlib.sha256(answer.content).digest() == hashlib.sha256(text).digest()
    assert answer.headers["content-length"] == str(len(text))
    assert answer.headers["accept-ranges"] == "bytes"
    assert not answer.headers["etag"].startswith("W/")
    again = exports.ask(url, headers={**PLAIN, "If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_blk_14_gzip_when_accepted_always_gives_the_same_bytes(exports, file):
    url, text = file
    answers = [exports.ask(url, headers={"Accept-Encoding": "gzip"}) for _ in range(2)]
    for answer in answers:
        assert answer.headers["content-encoding"] == "gzip"
        assert answer.content == text
    assert answers[0].headers["etag"] == answers[1].headers["etag"]
    assert answers[0].headers["etag"] != exports.ask(url, headers=PLAIN).headers["etag"]
    assert answers[0].num_bytes_downloaded < len(text) / 4
    assert answers[0].num_bytes_downloaded == answers[1].num_bytes_downloaded
    assert gzip  # the client unpacks it


@pytest.mark.parametrize(
    ("asked", "start", "end"),
    [("0-99", 0, 100), ("100-", 100, None), ("-50", -50, None), ("5-999999999", 5, None)],
)
def test_blk_14_part_of_a_file(exports, file, asked, start, end):
    url, text = file
    answer = exports.ask(url, headers={"Range": f"bytes={asked}"})
    assert answer.status_code == 206
    assert answer.content == text[start:end]
    first = start if start >= 0 else len(text) + start
    last = first + len(answer.content) - 1
    assert answer.headers["content-range"] == f"bytes {first}-{last}/{len(text)}"
    assert answer.headers["content-length"] == str(len(answer.content))


@pytest.mark.parametrize("asked", ["bytes=9-5", "lines=0-1", "bytes=0-1,5-6", "bytes=-", "x"])
def test_blk_14_a_range_that_is_none_gets_the_whole_file(exports, file, asked):
    url, text = file
    answer = exports.ask(url, headers={**PLAIN, "Range": asked})
    assert (answer.status_code, answer.content) == (200, text)


@pytest.mark.parametrize("asked", ["bytes=999999999-", "bytes=-0"])
def test_blk_14_bytes_that_are_not_there(exports, file, asked):
    url, text = file
    answer = exports.ask(url, headers={"Range": asked})
    refused(answer, 416)
    assert answer.headers["content-range"] == f"bytes */{len(text)}"


def test_blk_14_a_range_of_another_file_is_not_mixed_in(exports, file):
    url, text = file
    tag = exports.ask(url, headers=PLAIN).headers["etag"]
    part = exports.ask(url, headers={"Range": "bytes=0-9", "If-Range": tag})
    assert part.status_code == 206
    whole = exports.ask(url, headers={**PLAIN, "Range": "bytes=0-9", "If-Range": '"other"'})
    assert (whole.status_code, whole.content) == (200, text)


def test_blk_16_ten_thousand_observations_are_one_file(tmp_path):
    from tests.api.serving import Serving

    with Serving(tmp_path / "many.sqlite3") as serving:
        fill(serving.parts.store, 10_000)
        manifest = Exports(serving).done("/fhir/$export?_type=Observation")
        assert [one["count"] for one in manifest["output"]] == [10_000]


def test_blk_16_a_file_ends_when_it_is_long_or_large():
    sizes = Sizes()
    assert not sizes.full(49_999, 10**9)
    assert sizes.full(50_000, 10**8)
    assert not sizes.full(199_999, 10**6)
    assert sizes.full(200_000, 10**6)


def test_blk_16_further_files_go_on_where_the_last_one_ended(clinic):
    exports = Exports(clinic, Sizes(fair=20, most=20))
    manifest = exports.done()
    counts = [one["count"] for one in manifest["output"] if one["type"] == "Observation"]
    assert len(counts) > 3
    assert set(counts[:-1]) == {20}
    assert named(exports.lines(manifest)) == stored(clinic)


def test_blk_17_after_expiry_there_is_nothing(app, guarded):
    place = app.begun()
    app.carried_out()
    url = inside(app.manifest(place)["output"][0]["url"])
    guarded.clock.now += 24 * 3600 - 1
    app.headers |= guarded.as_client("app", "system/*.rs")
    assert app.ask(url).status_code == 200
    guarded.clock.now += 2
    app.headers |= guarded.as_client("app", "system/*.rs")
    refused(app.ask(url), 404)
    refused(app.ask(place), 404)
    folder = app.bulk.folders.of(place.rsplit("/", 1)[1])
    assert list(folder.iterdir())
    app.carried_out()
    assert not folder.exists()


def test_blk_17_a_download_that_has_begun_is_finished(exports, file, monkeypatch):
    from brachium.api import bulk_files

    url, text = file
    job = url.split("/")[3]
    found = exports.bulk.find(job, "")
    monkeypatch.setattr(bulk_files, "_BLOCK", 1000)
    deleted = []

    class Deleting:
        """Deletes the export when the first block has been read."""

        def __init__(self, work):
            self._work = work

        async def run(self, task):
            result = await self._work.run(task)
            if isinstance(result, bytes) and not deleted:
                deleted.append(exports.bulk.delete(found))
            return result

    original = bulk_files.file_response

    async def hooked(request, work, file, path):
        return await original(request, Deleting(work), file, path)

    monkeypatch.setattr("brachium.api.bulk.file_response", hooked)
    answer = exports.ask(url, headers=PLAIN)
    assert deleted
    assert answer.content == text
    refused(exports.ask(url), 404)


def test_blk_17_sec_17_files_are_private_and_their_names_say_nothing(exports, clinic):
    place = exports.begun()
    exports.carried_out()
    folder = exports.bulk.folders.of(place.rsplit("/", 1)[1])
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(folder.parent.stat().st_mode) == 0o700
    patients = [one for key, one in stored(clinic).items() if key[0] == "Patient"]
    for path in folder.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert not path.name.endswith(".part")
        for one in patients:
            assert one["id"] not in path.name
            assert one["identifier"][0]["value"] not in path.name


def test_a_service_that_begins_clears_away_what_no_job_knows(exports):
    folder = exports.bulk.folders.of("left-over")
    (folder / "00001.Patient.ndjson.part").write_bytes(b"half")
    exports.carried_out()
    assert not folder.exists()
