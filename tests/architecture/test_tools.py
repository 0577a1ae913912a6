"""Linter, formatter, type checker and layer contracts: they pass, and they bite."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.architecture.rules import PACKAGE, ROOT

CONFIG = ROOT / "pyproject.toml"
BIN = Path(sys.executable).parent


def run(tool: str, *arguments: object, cwd: Path = ROOT, **environment: str):
    command = [str(BIN / tool), *map(str, arguments)]
    surroundings = {**os.environ, **environment}
    return subprocess.run(
        command, cwd=cwd, env=surroundings, capture_output=True, text=True, check=False
    )


def passes(result: subprocess.CompletedProcess[str]) -> None:
    assert result.returncode == 0, result.stdout + result.stderr


def test_ruff_finds_nothing():
    passes(run("ruff", "check", "--no-cache", "service", "tests"))


def test_the_code_is_formatted():
    passes(run("ruff", "format", "--check", "--no-cache", "service", "tests"))


@pytest.mark.parametrize(
    ("source", "rule"),
    [
        ("def shown(x: int) -> int:\n    return x\n", "D103"),
        ('"""A."""\n\n\nclass Shown:\n    x = 1\n', "D101"),
        ("x = 1\n", "D100"),
        ('"""A."""\n\nimport os\n', "F401"),
        ('"""A."""\n\n\ndef shown(x):\n    """Do."""\n    return x\n', "ANN001"),
        ('"""A."""\n\nprint("seen")\n', "T201"),
    ],
)
def test_ruff_bites(tmp_path, source, rule):
    planted = tmp_path / "service" / "brachium" / "planted.py"
    planted.parent.mkdir(parents=True)
    planted.write_text(source, encoding="utf-8")
    result = run("ruff", "check", "--no-cache", "--config", CONFIG, planted)
    assert result.returncode == 1
    assert rule in result.stdout


def test_the_formatter_bites(tmp_path):
    planted = tmp_path / "planted.py"
    planted.write_text("x = {  'a':1 }\n", encoding="utf-8")
    assert run("ruff", "format", "--check", "--config", CONFIG, planted).returncode == 1


def test_types_are_strict_and_hold():
    passes(run("mypy"))


@pytest.mark.parametrize(
    ("source", "rule"),
    [
        ("def f(x):\n    return x\n", "no-untyped-def"),
        ("def f(x: int) -> str:\n    return x\n", "return-value"),
        ("def f(x: dict) -> None:\n    print(x)\n", "type-arg"),
    ],
)
def test_the_type_checker_bites(tmp_path, source, rule):
    planted = tmp_path / "planted.py"
    planted.write_text(source, encoding="utf-8")
    result = run("mypy", "--config-file", CONFIG, "--cache-dir", tmp_path / "cache", planted)
    assert result.returncode == 1
    assert f"[{rule}]" in result.stdout


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    """The contracts on the code below ``folder``, read from the project's own configuration."""
    return run("lint-imports", CONFIG, "--no-cache", cwd=folder, PYTHONPATH=str(folder))


def test_layers_hold():
    passes(lint_imports(ROOT / "service"))


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("problems.py", "from brachium import records", "A layer imports"),
        ("exam/reading.py", "from brachium.coding import encode", "A layer imports"),
        ("assess/assessment.py", "import brachium.store.port", "A layer imports"),
        ("store/port.py", "import brachium.formats.collection", "A layer imports"),
        ("utilities.py", "x = 1", "A layer imports"),
        ("coding/encode.py", "import fhir.resources.R4B.observation", "Only coding.shape"),
        ("intake/receipt.py", "from fastapi import FastAPI", "Only api knows"),
        ("export.py", "import sqlite3", "Only store knows SQL"),
        ("assess/assessment.py", "import time", "take clock, chance"),
    ],
)
def test_layers_bite(tmp_path, module, line, contract):
    copy = tmp_path / "brachium"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    target = copy / module
    before = target.read_text(encoding="utf-8") if target.exists() else ""
    target.write_text(f"{before}\n{line}\n", encoding="utf-8")
    result = lint_imports(tmp_path)
    assert result.returncode == 1, result.stdout + result.stderr
    broken = [text for text in result.stdout.splitlines() if " BROKEN" in text]
    assert any(contract in text for text in broken), result.stdout
