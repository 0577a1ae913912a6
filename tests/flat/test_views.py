"""The views of the service: what each gives, and that an independent runner gives the same."""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path

import pytest
from tests.conftest import _missing
from tests.flat import runner

from brachium.export.definitions import FOLDER, PUBLISHED, definitions
from brachium.formats import lossless
from brachium.settings import Settings

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
VIEWS = definitions(Settings().canonical)
# signs, grades, forces, digits, arm positions, absences, ends of motion, limits, comparisons
BUNDLES = ("stiff-shoulder", "elbow-after-fracture", "child", "thumb-base-pain")


def bundle(name):
    return (EXAMPLES / "bundles" / f"{name}.collection.json").read_bytes()


def resources(name, parse):
    return [entry["resource"] for entry in parse(bundle(name))["entry"]]


def counted(names, rows):
    return Counter(
        json.dumps({name: row[name] or None for name in names}, sort_keys=True) for row in rows
    )


def test_the_four_views_are_there():
    assert set(VIEWS) == {"findings", "motion", "strength", "judgements"}
    assert Settings().canonical == PUBLISHED
    for name in VIEWS:
        assert VIEWS[name].definition["url"].endswith(f"/ViewDefinition/{name}")
        assert (FOLDER / f"{name}.json").is_file()


def test_views_speak_of_the_code_system_of_this_site():
    for one in definitions("https://codes.example.org").values():
        text = json.dumps(one.definition)
        assert PUBLISHED not in text
        assert "https://codes.example.org/CodeSystem/arm-exam" in text


def test_no_view_has_a_word_of_the_body():
    anatomy = {
        line.split(",")[0]
        for name in ("joints.csv", "digits.csv")
        for line in (EXAMPLES.parent / "mappings" / "model" / name).read_text().splitlines()
        if line and not line.startswith("#")
    }
    for path in FOLDER.glob("*.json"):
        assert not set(re.findall(r"[a-z][a-z-]+", path.read_text())) & (anatomy - {"joint"})


@pytest.fixture(scope="session")
def independent():
    fault = runner.install()
    if fault:
        _missing(f"sqlonfhir {runner.VERSION} cannot be installed: {fault}")
    return runner.rows


def test_sof_01_an_independent_runner_gives_the_same_rows(independent):
    plain = [one for name in BUNDLES for one in resources(name, json.loads)]
    # its values are binary floats; ours are compared as such
    exact = [one for name in BUNDLES for one in resources(name, lossless.parse)]
    given = [json.loads(json.dumps(one.definition)) for one in VIEWS.values()]
    for view, theirs in zip(VIEWS.values(), independent(given, plain), strict=True):
        names = [column.name for column in view.columns]
        rows = [row for one in exact for row in view.rows(one)]
        ours = [json.loads(lossless.write(dict(zip(names, row, strict=True)))) for row in rows]
        assert len(ours) > 20
        # each column says something of some finding, but codes that maps may add
        assert {name for name in names if not any(row[name] for row in ours)} <= {"loinc", "snomed"}
        assert counted(names, ours) == counted(names, theirs), view.name
