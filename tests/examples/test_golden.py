"""Every example gives exactly the bundles and problems that are kept beside it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from tests.examples import golden

from brachium.tables.load import load


@pytest.fixture(scope="module")
def tables():
    return load()


def first_difference(made: bytes, kept: bytes) -> str:
    """Say where two texts part; to lay half a megabyte side by side would take minutes."""
    if made == kept:
        return ""
    pairs = zip(made, kept, strict=False)
    shorter = min(len(made), len(kept))
    place = next((at for at, (one, other) in enumerate(pairs) if one != other), shorter)
    around = slice(max(place - 60, 0), place + 60)
    told = f"made {made[around]!r}, kept {kept[around]!r}"
    return f"differs at byte {place} (see the opening of golden.py): {told}"


@pytest.mark.parametrize("kind", golden.BUNDLE_TYPES)
@pytest.mark.parametrize("exam", golden.EXAMS, ids=golden.NAMES)
def test_bundle_is_golden_byte_for_byte(exam, kind):
    code, text = golden.bundle(exam, kind)
    assert code == 0
    assert first_difference(text, golden.bundle_file(exam, kind).read_bytes()) == ""


@pytest.mark.parametrize("exam", golden.EXAMS + golden.REFUSED, ids=lambda path: path.stem)
def test_problems_are_the_expected_ones(exam, tables):
    expected = golden.problems_file(exam).read_text(encoding="utf-8")
    assert golden.problems(exam, tables) == expected


@pytest.mark.parametrize("exam", golden.REFUSED, ids=golden.REFUSED_NAMES)
def test_refused_exams_give_no_bundle(exam):
    code, text = golden.bundle(exam, "collection")
    assert (code, text) == (1, b"")


def test_another_process_gives_the_same_bytes():
    command = [Path(sys.executable).parent / "brachium", "bundle", "-"]
    exam = golden.EXAMS[0]
    result = subprocess.run(command, input=exam.read_bytes(), capture_output=True, check=True)
    assert result.stdout == golden.bundle_file(exam, "collection").read_bytes()


def test_no_golden_file_is_left_over():
    bundles = {
        golden.bundle_file(exam, kind) for exam in golden.EXAMS for kind in golden.BUNDLE_TYPES
    }
    told = {golden.problems_file(exam) for exam in golden.EXAMS + golden.REFUSED}
    assert set((golden.FOLDER / "bundles").iterdir()) == bundles
    assert set((golden.FOLDER / "problems").iterdir()) == told


@pytest.mark.parametrize("exam", golden.EXAMS, ids=golden.NAMES)
def test_accepted_exams_have_no_errors(exam):
    rows = json.loads(golden.problems_file(exam).read_text(encoding="utf-8"))
    assert "error" not in {row["severity"] for row in rows}


@pytest.mark.parametrize("exam", golden.REFUSED, ids=golden.REFUSED_NAMES)
def test_refused_exams_have_an_error(exam):
    rows = json.loads(golden.problems_file(exam).read_text(encoding="utf-8"))
    assert "error" in {row["severity"] for row in rows}
