"""check, bundle and tables check, as a user calls them."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "examples"
GOOD = EXAMPLES / "stiff-shoulder.json"
REFUSED = sorted((EXAMPLES / "refused").glob("*.json"))


def brachium(*arguments: object, given: bytes = b"", **environment: str):
    """Run the command as its own process, with no settings but those given."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith("BRACHIUM_")}
    return subprocess.run(
        [sys.executable, "-m", "brachium", *map(str, arguments)],
        input=given,
        capture_output=True,
        env={**clean, **environment},
        check=False,
    )


def test_check_accepts():
    done = brachium("check", GOOD)
    assert done.returncode == 0
    assert done.stdout.decode().splitlines()[-1] == "accepted"


@pytest.mark.parametrize("path", REFUSED, ids=lambda path: path.stem)
def test_exm_06_check_refuses_and_says_where_why_and_what_to_do(path):
    done = brachium("check", path)
    lines = done.stdout.decode().splitlines()
    assert done.returncode == 1
    assert lines[-1] == "refused"
    errors = [line for line in lines if line.startswith("error: ")]
    assert errors
    for line in errors:
        assert lines[lines.index(line) + 1].startswith("    ")


def test_a_dash_reads_standard_input():
    raw = GOOD.read_bytes()
    assert brachium("check", "-", given=raw).stdout == brachium("check", GOOD).stdout
    assert brachium("bundle", "-", given=raw).stdout == brachium("bundle", GOOD).stdout


@pytest.mark.parametrize("command", ["check", "bundle"])
def test_unreadable_input_is_2(command, tmp_path):
    assert brachium(command, tmp_path / "nowhere.json").returncode == 2
    assert brachium(command, tmp_path).returncode == 2
    huge = tmp_path / "huge.json"
    huge.write_bytes(b" " * 3_000_000)
    assert brachium(command, huge).returncode == 2


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["nonsense"],
        ["check"],
        ["bundle", str(GOOD), "--type", "batch"],
        ["bundle", str(GOOD), "--issued", "2026-03-02"],
        ["bundle", str(GOOD), "--issued", "2026-13-02T10:15:00Z"],
        ["serve", "--port", "0"],
        ["serve", "--tables", "/nowhere"],
        ["tables"],
    ],
)
def test_usage_errors_are_2_and_write_nothing_to_standard_output(arguments):
    done = brachium(*arguments)
    assert done.returncode == 2
    assert done.stdout == b""
    assert b"Traceback" not in done.stderr


@pytest.mark.parametrize("kind", ["collection", "transaction", "document"])
def test_ops_05_a_bundle_is_the_same_every_time(kind):
    first = brachium("bundle", GOOD, "--type", kind)
    assert first.returncode == 0
    assert json.loads(first.stdout)["type"] == kind
    assert brachium("bundle", GOOD, "--type", kind).stdout == first.stdout


def test_issued_is_the_time_of_recording():
    instant = "2026-03-05T08:00:00+01:00"
    bundle = json.loads(brachium("bundle", GOOD, "--issued", instant).stdout)
    assert bundle["timestamp"] == instant
    default = json.loads(brachium("bundle", GOOD).stdout)
    assert default["timestamp"] == json.loads(GOOD.read_bytes())["effective"]


def test_a_refused_exam_gives_no_bundle():
    done = brachium("bundle", EXAMPLES / "refused" / "missing-side.json")
    assert (done.returncode, done.stdout) == (1, b"")
    assert b"/side" in done.stderr


def test_tables_check_finds_the_tables_sound():
    done = brachium("tables", "check")
    assert (done.returncode, done.stdout) == (0, b"the tables are sound\n")


def test_tables_check_lists_every_fault(tmp_path):
    copy = tmp_path / "mappings"
    shutil.copytree(ROOT / "mappings", copy)
    for name in ("model/joints.csv", "codes/codes.csv"):
        lines = (copy / name).read_text(encoding="utf-8").splitlines()
        (copy / name).write_text("\n".join([*lines, lines[-1]]) + "\n", encoding="utf-8")
    done = brachium("tables", "check", copy)
    faults = done.stdout.decode().splitlines()
    assert done.returncode == 1
    assert any("joints.csv" in line for line in faults)
    assert any("codes.csv" in line for line in faults)
    assert faults[-1].endswith("faults")


def test_broken_tables_and_settings_stop_every_command(tmp_path):
    (tmp_path / "empty").mkdir()
    tables = brachium("check", GOOD, BRACHIUM_TABLES=str(tmp_path / "empty"))
    settings = brachium("check", GOOD, BRACHIUM_PROT="8000")
    for done in (tables, settings):
        assert done.returncode == 2
        assert b"faults in the" in done.stderr
        assert b"Traceback" not in done.stderr


@pytest.mark.parametrize("command", ["", "serve", "demo", "check", "bundle", "tables"])
def test_every_help_documents_the_exit_codes(command):
    done = brachium(*command.split(), "--help")
    assert done.returncode == 0
    assert b"exit codes:" in done.stdout
