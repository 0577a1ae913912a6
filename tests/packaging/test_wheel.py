"""An installed wheel, run from another directory, does all that a checkout does.

The wheel is built without build isolation, and the fresh environment borrows the dependencies of
the one that runs the tests: nothing is downloaded, yet the package itself can only come from the
wheel, because the borrowed folder's own links to the checkout are not followed.
"""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

import brachium
from brachium.cli import main

ROOT = Path(__file__).resolve().parents[2]
EXAMS = sorted((ROOT / "examples").glob("*.json"))
REFUSED = sorted((ROOT / "examples" / "refused").glob("*.json"))


def checkout(*arguments: object) -> tuple[int, bytes, bytes]:
    """Exit code, output and complaints of the same command from the code of the checkout."""
    output, complaints = (
        io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2)
    )
    with contextlib.redirect_stdout(output), contextlib.redirect_stderr(complaints):
        code = main(list(map(str, arguments)))
    output.flush()
    complaints.flush()
    return code, output.buffer.getvalue(), complaints.buffer.getvalue()


def told(result: subprocess.CompletedProcess[bytes]) -> tuple[int, bytes, bytes]:
    return result.returncode, result.stdout, result.stderr


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


def test_what_it_is_compared_with_is_the_checkout():
    assert Path(brachium.__file__).parent == ROOT / "service" / "brachium"


def test_tables_are_checked_the_same(installed, tmp_path):
    there = run(installed / "brachium", "tables", "check", cwd=tmp_path)
    assert told(there) == checkout("tables", "check")


@pytest.mark.parametrize("exam", EXAMS, ids=lambda path: path.stem)
def test_exams_become_the_same_bundle(installed, tmp_path, exam):
    there = run(installed / "brachium", "bundle", exam, cwd=tmp_path)
    assert told(there) == checkout("bundle", exam)
    assert there.stdout.startswith(b"{")


@pytest.mark.parametrize("exam", [*EXAMS[:1], *REFUSED], ids=lambda path: path.stem)
def test_exams_are_checked_the_same(installed, tmp_path, exam):
    there = run(installed / "brachium", "check", exam, cwd=tmp_path, code=None)
    assert told(there) == checkout("check", exam)
    assert there.returncode == int(exam in REFUSED)


def test_there_is_something_to_compare():
    assert len(EXAMS) >= 8
    assert len(REFUSED) >= 6
