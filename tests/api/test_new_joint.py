"""A joint that no code has ever heard of: rows in a copy of the tables, and it works throughout."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from tests.api.serving import Serving, example
from tests.oracles.book import from_tables
from tests.oracles.judge import FAST, judge
from tests.tables.test_overlay import NEW_JOINT

from brachium.tables.check import faults
from brachium.tables.source import default_directory

TAIL = {"joint": "tail", "side": "left"}
FINDINGS = [
    TAIL
    | {"key": "wag", "kind": "motion", "motion": "wag", "mode": "active"}
    | {"angle": {"value": 62.5, "unit": "deg"}},
    TAIL
    | {"key": "tip", "kind": "palpation", "site": "tip", "sign": "tenderness", "present": True}
    | {"severity": 4},
    TAIL
    | {"key": "bruise", "kind": "inspection", "site": "tip", "sign": "bruising"}
    | {"present": False},
    TAIL | {"key": "power", "kind": "strength", "test": "wag", "grade": "4+"},
    TAIL
    | {"key": "whole", "kind": "part", "part": "palpation", "side": "right"}
    | {"outcome": "no-abnormality"},
]


@pytest.fixture
def tables_with_a_tail(tmp_path: Path) -> Path:
    """A copy of the shipped tables with the rows of one more joint."""
    copy = Path(shutil.copytree(default_directory(), tmp_path / "mappings"))
    for path, rows in NEW_JOINT.items():
        file = copy / path
        lines = file.read_text("utf-8").rstrip("\n").split("\n")
        header = next(n for n, line in enumerate(lines) if not line.startswith("#"))
        # tables are kept sorted, joints by their order and everything else by its first column
        behind = [n for n, line in enumerate(lines) if n > header and line < "tail"]
        place = len(lines) if path == "model/joints.csv" else max(behind, default=header) + 1
        lines[place:place] = rows
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return copy


def test_exm_01_obs_01_trm_04_a_new_joint_is_rows_and_becomes_a_coded_bundle(
    tables_with_a_tail, tmp_path
):
    assert faults(tables_with_a_tail) == []
    exam = example("stiff-shoulder") | {"findings": FINDINGS}
    with Serving(tmp_path / "tail.sqlite3", tables=tables_with_a_tail) as service:
        posted = service.post("/exams", exam)
        assert posted.status_code == 201, posted.text
        bundle = json.loads(service.get(f"/exams/{posted.json()['id']}/bundle").content)
        book = from_tables(service.parts.tables, service.parts.settings.canonical)
        refused = service.post(
            "/exams", exam | {"findings": [FINDINGS[0] | {"angle": {"value": 121, "unit": "deg"}}]}
        )
    assert judge(bundle, book, FAST) == []
    texts = {
        entry["resource"]["code"]["text"]
        for entry in bundle["entry"]
        if entry["resource"]["resourceType"] == "Observation"
    }
    assert "Left tail wag, active range of motion" in texts
    assert "Tenderness over left tip of tail" in texts
    assert refused.status_code == 422
    assert [one["code"] for one in refused.json()["problems"]][:1] == ["limit-refused"]
