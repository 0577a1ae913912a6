"""Histories of a resource, a type and everything (matrix VER-05, VER-06, VER-09)."""

from __future__ import annotations

from email.utils import parsedate_to_datetime

import pytest
from tests.api.searched import links, walked
from tests.api.serving import BASE, Serving, example, inside, raw_example
from tests.api.test_changes import REASON

from brachium.settings import Settings
from brachium.wiring import build

TIMES = [f"2026-03-0{day}T08:00:00.000Z" for day in range(1, 10)]


@pytest.fixture(scope="module")
def dated(tmp_path_factory):
    """A service whose clock goes on by a day for everything that is stored."""
    clock = iter(TIMES)
    database = tmp_path_factory.mktemp("dated") / "exams.sqlite3"
    settings = Settings(database=database, public_base=BASE)
    with Serving(database, build(settings, lambda: next(clock, TIMES[-1]))) as service:
        yield service


@pytest.fixture(scope="module")
def changed(dated):
    """Two exams, the first of them corrected and then withdrawn: the address of its report."""
    receipt = dated.post("/exams", raw_example("stiff-shoulder")).json()
    exam = example("stiff-shoulder")
    exam["note"] = "Looked at again."
    path = f"/exams/{receipt['id']}"
    body = {"reason": REASON, "exam": exam}
    assert dated.put(path, body, If_Match='W/"1"').status_code == 200
    assert dated.post("/exams", raw_example("draft")).status_code == 201
    gone = dated.post(f"{path}/withdrawal", {"reason": REASON}, If_Match='W/"2"')
    assert gone.status_code == 200
    return inside(receipt["links"]["report"])


def history(service, path):
    answer = service.get(path)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert found["type"] == "history"
    return found


def stored(bundle):
    return [entry["resource"]["meta"]["lastUpdated"] for entry in bundle.get("entry", ())]


def named(bundle):
    return [
        (one["resource"]["resourceType"], one["resource"]["id"], one["response"]["etag"])
        for one in bundle.get("entry", ())
    ]


def test_ver_05_every_version_newest_first_with_what_made_it(dated, changed):
    found = history(dated, f"{changed}/_history")
    assert found["total"] == 3
    assert stored(found) == [TIMES[3], TIMES[1], TIMES[0]]
    first = found["entry"][-1]
    assert first["request"] == {"method": "POST", "url": "DiagnosticReport"}
    assert first["response"] == {
        "status": "201 Created",
        "etag": 'W/"1"',
        "lastModified": TIMES[0],
    }
    for entry in found["entry"][:-1]:
        assert entry["request"] == {"method": "PUT", "url": changed.removeprefix("/fhir/")}
        assert entry["fullUrl"] == f"{BASE}{changed}"


@pytest.mark.parametrize(
    ("query", "versions"),
    [
        ("", [3, 2, 1]),
        ("?_since=2026-03-02T08:00:00Z", [3, 2]),
        ("?_since=2026-03-02T08:00:00.001Z", [3]),
        ("?_since=2026-03-04T09:00:00%2B01:00", [3]),
        ("?_since=2026-03-05", []),
        ("?_at=2026-03-01", [1]),
        ("?_at=2026-03-02", [2, 1]),
        ("?_at=2026-03-03", [2]),
        ("?_at=2026-03", [3, 2, 1]),
        ("?_at=2027", [3]),
        ("?_at=2025", []),
        ("?_at=2026-03-01T07:59Z", []),
    ],
)
def test_ver_06_since_and_at(dated, changed, query, versions):
    found = history(dated, f"{changed}/_history{query}")
    assert [int(one[2][3:-1]) for one in named(found)] == versions
    assert found["total"] == len(versions)


def test_ver_06_history_of_a_type_and_of_everything_walks_all_once(dated, changed):
    assert changed
    whole = history(dated, "/fhir/Observation/_history?_count=500")
    pages = list(walked(dated, history(dated, "/fhir/Observation/_history?_count=20")))
    seen = [one for page in pages for one in named(page)]
    assert len(seen) == len(set(seen)) == whole["total"]
    assert set(seen) == set(named(whole))
    times = [one for page in pages for one in stored(page)]
    assert times == sorted(times, reverse=True)
    everything = history(dated, "/fhir/_history?_count=500")
    kinds = {one[0] for one in named(everything)}
    assert kinds == {
        *("Observation", "DiagnosticReport", "Provenance"),
        *("Patient", "Practitioner", "Organization"),
    }
    assert everything["total"] == len(named(everything)) > whole["total"]
    since = history(dated, f"/fhir/_history?_since={TIMES[3]}&_count=500")
    assert set(stored(since)) == {TIMES[3]}


def test_ver_06_a_walk_while_exams_come_sees_the_beginning_only(service):
    for name in ("draft", "hyperextending-elbow"):
        assert service.post("/exams", raw_example(name)).status_code == 201
    page = history(service, "/fhir/DiagnosticReport/_history?_count=1")
    assert service.post("/exams", raw_example("weak-right-arm")).status_code == 201
    pages = list(walked(service, page))
    assert len(pages) == page["total"] == 2
    assert {one["total"] for one in pages} == {2}


def test_ver_06_a_count_alone_and_nothing_unknown(dated, changed):
    found = history(dated, f"{changed}/_history?_count=0")
    assert (found["total"], found.get("entry")) == (3, None)
    assert list(links(found)) == ["self"]
    for query in ("_sort=date", "_since=soon", "_since=ge2026", "_count=x", "_at=1&_at=2"):
        answer = dated.get(f"{changed}/_history?{query}")
        assert answer.status_code == 400, query
        name = query.partition("=")[0]
        assert answer.json()["issue"][0]["expression"] == [f"http.{name}"]


def test_ver_03_history_of_what_is_not_there(dated, changed):
    assert changed
    for path, code in (
        ("/fhir/Observation/nope/_history", "not-found"),
        ("/fhir/CodeSystem/_history", "not-supported"),
        ("/fhir/CodeSystem/mrc-grade/_history", "not-supported"),
        ("/fhir/Nothing/_history", "not-supported"),
    ):
        answer = dated.get(path)
        assert answer.status_code == 404, path
        assert answer.json()["issue"][0]["code"] == code


def test_ver_09_times_rise_and_never_lead_the_clock(service, stored):
    path = f"/exams/{stored['id']}"
    for version in range(1, 12):
        exam = example("stiff-shoulder")
        exam["note"] = f"Look {version}."
        body = {"reason": REASON, "exam": exam}
        answer = service.put(path, body, If_Match=f'W/"{version}"')
        assert answer.status_code == 200, answer.text
    report = inside(stored["links"]["report"])
    found = history(service, f"{report}/_history")
    times = [one["resource"]["meta"]["lastUpdated"] for one in found["entry"]]
    assert len(set(times)) == len(times) == 12
    assert times == sorted(times, reverse=True)
    read = service.get(report)
    assert parsedate_to_datetime(read.headers["last-modified"]).isoformat()[:19] == times[0][:19]
