"""The parts fit together: settings in, a working service out, and what it stored stays."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from tests.intake.exams import exam, finding, raw

from brachium.formats.register import BUNDLES
from brachium.intake.receipt import Outcome
from brachium.problems import BrokenTables
from brachium.settings import Settings
from brachium.wiring import build, tools, utc_now


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(database=tmp_path / "exams.sqlite3")


def test_the_clock_gives_instants_in_utc_with_milliseconds() -> None:
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", utc_now())


def test_what_one_service_stored_the_next_one_serves_byte_for_byte(settings) -> None:
    first = build(settings)
    exam_id = first.intake.receive(raw(exam())).exam.id
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    assert first.intake.correct(exam_id, raw(changed), "why", 1).outcome is Outcome.CHANGED
    bodies = {(k, v): first.export.bundle(exam_id, k, v) for k in BUNDLES for v in (1, 2)}
    first.close()
    second = build(settings)
    for (kind, version), body in bodies.items():
        assert second.export.bundle(exam_id, kind, version) == body
    assert second.intake.receive(raw(changed)).outcome is Outcome.SAME
    assert second.intake.withdraw(exam_id, "why", 2).outcome is Outcome.CHANGED
    second.close()


def test_settings_reach_the_parts(settings) -> None:
    plain = replace(
        settings, snomed=False, plus_minus_grades=False, public_base="https://a.example"
    )
    made = tools(plain)
    assert not made.bench.coding.snomed
    assert not made.bench.model.plus_minus_grades
    assert made.framer.base == "https://a.example"
    parts = build(plain)
    assert parts.intake.receive(raw(exam())).outcome is Outcome.REFUSED  # grade 4+
    parts.close()


def test_broken_tables_stop_the_start(settings, tmp_path) -> None:
    empty = tmp_path / "tables"
    empty.mkdir()
    with pytest.raises(BrokenTables):
        build(replace(settings, tables=empty))
    assert not settings.database.exists()
