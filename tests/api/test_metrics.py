"""Figures for Prometheus: what they count, who reads them, and that no patient is in them."""

from __future__ import annotations

import time

from prometheus_client.parser import text_string_to_metric_families
from tests.api.serving import FHIR_JSON, ROOT, Serving, example, raw_example

from brachium.api.metrics import Metrics
from brachium.store.jobs import JobState, NewJob
from brachium.store.port import StoreUnavailable
from brachium.store.sqlite import SqliteStore


def figures(serving):
    answer = serving.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain; version=")
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def requests(found, route, status, method="GET"):
    labels = (("method", method), ("route", route), ("status", status))
    return found.get(("brachium_requests_total", *labels), 0)


def test_requests_are_counted_by_the_form_of_their_address(service):
    for path in ("/exams/one", "/exams/two", "/views?x=1", "/nowhere/at/all"):
        service.get(path)
    service.ask("BREW", "/exams/one")
    found = figures(service)
    assert requests(found, "/exams/{exam_id}", "404") == 2
    assert requests(found, "/views", "400") == 1
    assert requests(found, "-", "404") == 1
    assert any(dict(key[1:]).get("method") == "other" for key in found)
    assert found[("brachium_request_seconds_count", ("route", "/exams/{exam_id}"))] >= 2
    assert requests(figures(service), "/metrics", "200") == 1


def test_exams_are_counted_by_what_became_of_them(service):
    raw = raw_example("stiff-shoulder")
    stored = service.post("/exams", raw).json()
    service.post("/exams", raw)
    changed = example("stiff-shoulder")
    changed["findings"] = changed["findings"][:3]
    assert service.post("/exams", changed).status_code == 409
    assert service.post("/exams", {}).status_code == 422
    where = f"/exams/{stored['id']}/withdrawal"
    assert service.post(where, {"reason": "Wrong."}, If_Match='W/"1"').status_code == 200
    assert service.post(where, {"reason": "Another reason."}, If_Match='W/"1"').status_code == 412
    found = figures(service)
    outcomes = ("created", "same", "conflict", "refused", "changed", "stale")
    counted = {one: found[("brachium_exams_total", ("outcome", one))] for one in outcomes}
    assert counted == dict.fromkeys(outcomes, 1)


def test_exams_that_come_in_as_forms_are_counted_too(service):
    form = (ROOT / "examples" / "responses" / "elbow-after-fracture.json").read_bytes()
    headers = {"Content-Type": FHIR_JSON}
    for status in (201, 200):
        where = "/fhir/QuestionnaireResponse"
        assert service.ask("POST", where, content=form, headers=headers).status_code == status
    found = figures(service)
    for outcome in ("created", "same"):
        assert found[("brachium_exams_total", ("outcome", outcome))] == 1


def test_the_store_is_measured(service):
    before = figures(service)
    for name in ("stiff-shoulder", "draft"):
        service.post("/exams", raw_example(name))
    after = figures(service)
    assert (before[("brachium_stored_exams",)], after[("brachium_stored_exams",)]) == (0, 2)
    assert after[("brachium_stored_exam_versions",)] == 2
    assert after[("brachium_stored_resource_versions",)] > 80
    assert after[("brachium_store_bytes",)] > before[("brachium_store_bytes",)] > 0
    assert after[("brachium_store_up",)] == 1
    waiting = ("brachium_index_waiting",)
    assert 0 <= after[waiting] <= after[("brachium_stored_resource_versions",)]
    # a search has everything entered first
    assert service.get("/fhir/Observation?_count=1").status_code == 200
    assert figures(service)[waiting] == 0


def test_bulk_exports_are_counted_by_where_they_stand(service):
    jobs = service.parts.jobs
    for name in ("a", "b"):
        made = NewJob(name, "client", "request", b"{}")
        assert jobs.begin(made, "2026-05-01T08:00:00.000Z", 5)
    jobs.end("b", JobState.FAILED, "2026-05-01T09:00:00.000Z", "2999-05-02T08:00:00.000Z")
    found = figures(service)
    counted = {state: found[("brachium_export_jobs", ("state", state.value))] for state in JobState}
    assert counted == {JobState.RUNNING: 1, JobState.FAILED: 1, JobState.COMPLETE: 0}


def test_figures_come_while_the_store_does_not(service, monkeypatch):
    def fails(_self):
        raise StoreUnavailable("planted")

    assert figures(service)[("brachium_store_up",)] == 1
    monkeypatch.setattr(SqliteStore, "figures", fails)
    assert figures(service)[("brachium_store_up",)] == 0


def test_ops_04_the_drift_of_the_clock_is_told(service, monkeypatch):
    drift = ("brachium_clock_drift_seconds",)
    assert abs(figures(service)[drift]) < 1
    real = time.time
    monkeypatch.setattr(time, "time", lambda: real() + 7)
    assert 6 < figures(service)[drift] < 8


def test_two_applications_do_not_add_up(tmp_path):
    with Serving(tmp_path / "a.sqlite3") as one, Serving(tmp_path / "b.sqlite3") as other:
        one.get("/live")
        assert requests(figures(one), "/live", "200") == 1
        assert requests(figures(other), "/live", "200") == 0
    assert Metrics().registry is not Metrics().registry


def test_no_patient_is_in_the_figures(service):
    exam = example("stiff-shoulder")
    planted = "Planted-7Q"
    exam["identifier"]["value"] = exam["patient"]["identifier"]["value"] = planted
    assert service.post("/exams", exam).status_code == 201
    service.get(f"/exams/{planted}")
    service.get(f"/fhir/Patient?identifier={planted}")
    service.get(f"/{planted}")
    service.ask(planted.upper(), f"/{planted}")
    text = service.get("/metrics").text
    assert "brachium_exams_total" in text
    assert planted.lower() not in text.lower()
