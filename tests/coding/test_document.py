"""The Composition: made of stored rows, and complete in words."""

from __future__ import annotations

import json

import pytest
from tests.intake.desks import intake
from tests.intake.exams import exam, finding, raw

from brachium.coding.document import composition, found


@pytest.fixture
def stored():
    desk = intake()
    content = exam()
    finding(content, "abduction-r")["note"] = "a < b & \ufffe"
    exam_id = desk.receive(raw(content)).exam.id
    return desk.desk.store.exam(exam_id), desk.desk.store.resources(exam_id)


def test_bnd_02_every_observation_is_an_entry_of_exactly_one_section(stored) -> None:
    version, rows = stored
    made = json.loads(composition(version, rows).text)
    entries = [e["reference"] for section in made["section"] for e in section["entry"]]
    held = [f"{r.type}/{r.id}" for r in rows if r.type in ("Observation", "DiagnosticReport")]
    assert sorted(entries) == sorted(held)


def test_bnd_02_the_composition_has_what_r4_requires(stored) -> None:
    version, rows = stored
    made = json.loads(composition(version, rows).text)
    assert {"status", "type", "date", "author", "title", "subject"} <= set(made)
    assert made["date"] == version.recorded
    assert composition(version, rows) == composition(version, rows)


def test_doc_02_text_is_escaped_and_fit_for_xml(stored) -> None:
    version, rows = stored
    told = composition(version, rows).text.decode()
    assert "a &lt; b &amp; \ufffd" in told
    assert "\ufffe" not in told


def test_words_of_an_observation_hold_value_components_and_note() -> None:
    twenty = {"value": 20, "unit": "deg"}
    observation = {
        "status": "final",
        "valueQuantity": twenty,
        "component": [
            {
                "code": {"coding": [{"display": "Deficit"}]},
                "valueQuantity": twenty,
            },
            {"code": {"text": "Limited by"}, "valueCodeableConcept": {"text": "Pain"}},
        ],
        "note": [{"text": "stopped early"}],
    }
    assert found(observation) == "20 deg; Deficit: 20 deg; Limited by: Pain; note: stopped early"
    withdrawn = {**observation, "status": "entered-in-error"}
    assert found(withdrawn).startswith("ENTERED IN ERROR: 20 deg")


def test_without_a_report_there_is_no_document(stored) -> None:
    version, rows = stored
    with pytest.raises(ValueError, match="without a report"):
        composition(version, [row for row in rows if row.type != "DiagnosticReport"])
