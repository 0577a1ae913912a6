"""An installed wheel, run from another directory, does all that a checkout does.

The wheel is built without build isolation, and the fresh environment borrows the dependencies of
the one that runs the tests: nothing is downloaded, yet the package itself can only come from the
wheel, because the borrowed folder's own links to the checkout are not followed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
EXAMS = sorted((ROOT / "examples").glob("*.json"))
REFUSED = sorted((ROOT / "examples" / "refused").glob("*.json"))
CHECKOUT = Path(sys.executable).parent / "brachium"


def run(*command: object, cwd: Path, code: int | None = 0) -> subprocess.CompletedProcess[bytes]:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("BRACHIUM_")}
    clean.pop("PYTHONPATH", None)
    result = subprocess.run(
        list(map(str, command)), cwd=cwd, env=clean, capture_output=True, check=False
    )
    if code is not None:
        assert result.returncode == code, (result.stdout + result.stderr).decode()
    return result


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-index"]
    run(*pip, "--no-build-isolation", "--wheel-dir", folder, ROOT, cwd=folder)
    (built,) = folder.glob("brachium-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Path:
    """The folder of commands of a fresh environment that has the wheel."""
    folder = tmp_path_factory.mktemp("fresh")
    venv.create(folder, with_pip=False)
    python = folder / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "--no-deps", "--no-index"]
    run(*pip, wheel, cwd=folder)
    (packages,) = folder.glob("lib/python*/site-packages")
    borrowed = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    (packages / "borrowed.pth").write_text("\n".join(sorted(borrowed)) + "\n", encoding="utf-8")
    return folder / "bin"


def test_wheel_holds_code_mappings_and_examples(wheel):
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder, place in (
        (ROOT / "service" / "brachium", "brachium"),
        (ROOT / "mappings", "brachium/mappings"),
        (ROOT / "examples", "brachium/examples"),
    ):
        files = [path for path in folder.rglob("*") if path.is_file()]
        expected = {
            f"{place}/{path.relative_to(folder)}"
            for path in files
            if "__pycache__" not in path.parts
        }
        assert len(expected) > 5
        assert expected <= names
    assert not {name for name in names if name.startswith("tests") or "__pycache__" in name}


def test_the_installed_package_is_not_the_checkout(installed, tmp_path):
    shown = run(
        installed / "python", "-c", "import brachium; print(brachium.__file__)", cwd=tmp_path
    )
    assert Path(shown.stdout.decode().strip()).is_relative_to(installed.parent)


def test_tables_are_checked_the_same(installed, tmp_path):
    there = run(installed / "brachium", "tables", "check", cwd=tmp_path)
    here = run(CHECKOUT, "tables", "check", cwd=ROOT)
    assert there.stdout == here.stdout


@pytest.mark.parametrize("exam", EXAMS, ids=lambda path: path.stem)
def test_exams_become_the_same_bundle(installed, tmp_path, exam):
    there = run(installed / "brachium", "bundle", exam, cwd=tmp_path)
    here = run(CHECKOUT, "bundle", exam, cwd=ROOT)
    assert there.stdout == here.stdout
    assert there.stdout.startswith(b"{")


@pytest.mark.parametrize("exam", REFUSED, ids=lambda path: path.stem)
def test_exams_are_refused_the_same(installed, tmp_path, exam):
    there = run(installed / "brachium", "check", exam, cwd=tmp_path, code=None)
    here = run(CHECKOUT, "check", exam, cwd=ROOT, code=None)
    assert there.returncode == here.returncode != 0
    assert (there.stdout, there.stderr) == (here.stdout, here.stderr)


def test_there_is_something_to_compare():
    assert len(EXAMS) >= 8
    assert len(REFUSED) >= 6
