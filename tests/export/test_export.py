"""An exam version as our own JSON, and everything that is not stored."""

from __future__ import annotations

import json

import jiter
import pytest
from tests.intake.desks import BASE, CANONICAL, export, intake, tables
from tests.intake.exams import exam, finding, raw, without

from brachium.coding.decode import decode
from brachium.formats.register import BUNDLES, FHIR_JSON, TABLES


@pytest.fixture
def made():
    desk = intake()
    return desk, desk.receive(raw(exam())).exam.id


def test_exm_01_an_exam_is_shown_as_posted_with_status_version_problems_and_links(made) -> None:
    desk, exam_id = made
    shown = export(desk).exam_json(desk.desk.store.exam(exam_id))
    assert b'"value":175.0,' in shown or b'"value":175.0}' in shown
    told = json.loads(shown)
    assert (told["id"], told["version"], told["status"]) == (exam_id, 1, "final")
    posted = exam()
    posted["findings"].sort(key=lambda one: one["key"])
    assert told["exam"] == posted
    assert {one["code"] for one in told["problems"]} >= {"unmapped-concept"}
    others = {"self", "report", "codings", "assessment", "note"}
    assert set(told["links"]) == {*others, *BUNDLES}
    assert json.loads(desk.desk.store.exam(exam_id).assessment) == told["assessment"]
    assert all(link.startswith(f"{BASE}/") for link in told["links"].values())


def test_links_lead_to_this_version_and_to_the_report(made) -> None:
    desk, exam_id = made
    links = json.loads(export(desk).exam_json(desk.desk.store.exam(exam_id)))["links"]
    (report,) = [r for r in desk.desk.store.resources(exam_id) if r.type == "DiagnosticReport"]
    assert links["report"] == f"{BASE}/fhir/DiagnosticReport/{report.id}"
    assert links["document"] == f"{BASE}/exams/{exam_id}/bundle?type=document&version=1"


def test_the_status_shown_is_that_of_the_version(made) -> None:
    desk, exam_id = made
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    desk.correct(exam_id, raw(changed), "read wrongly", 1)
    store = desk.desk.store
    told = [json.loads(export(desk).exam_json(store.exam(exam_id, n))) for n in (1, 2)]
    assert [one["status"] for one in told] == ["final", "corrected"]
    assert [one["reason"] for one in told] == ["", "read wrongly"]
    assert told[1]["exam"]["status"] == "final"


def test_what_is_not_stored_is_not_exported(made) -> None:
    desk, exam_id = made
    assert export(desk).bundle("no-such-exam", "collection") is None
    assert export(desk).bundle(exam_id, "collection", 7) is None
    assert export(desk).codings(exam_id, 7) is None
    with pytest.raises(KeyError):
        export(desk).bundle(exam_id, "no-such-kind")


def test_the_register_names_media_types() -> None:
    assert {one.media_type for one in BUNDLES.values()} == {FHIR_JSON}
    assert set(TABLES) == {"csv", "json"}


def test_a_fresh_bundle_is_the_one_that_is_served_later(made) -> None:
    desk, exam_id = made
    receipt = desk.receive(raw(exam()))
    assert export(desk).fresh(receipt.exam, receipt) == export(desk).bundle(exam_id, "collection")


def test_every_version_reads_back_into_the_exam_it_was_made_of(made) -> None:
    desk, exam_id = made
    changed = without(exam(), "tender")
    finding(changed, "abduction-r")["angle"]["value"] = 160
    desk.correct(exam_id, raw(changed), "read wrongly", 1)
    desk.withdraw(exam_id, "wrong patient", 2)
    for version in (1, 2, 3):
        body = export(desk).bundle(exam_id, "collection", version)
        bundle = jiter.from_json(body, float_mode="decimal")
        content = desk.desk.store.exam(exam_id, version).content
        posted = jiter.from_json(content, float_mode="decimal")
        assert decode(bundle, tables(), CANONICAL).exam == posted
