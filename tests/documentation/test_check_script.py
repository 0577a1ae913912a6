"""The check script's look at skipped tests: what it lets pass and what it does not."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys

import pytest
from tests.documentation.snippets import ROOT

SCRIPT = ROOT / ".ci" / "skips.py"
REPORT = """<testsuites><testsuite>
<testcase classname="tests.a" name="test_b"/>
<testcase classname="tests.a" name="test_c">
<skipped type="pytest.skip" message="no data"/>
</testcase>
</testsuite></testsuites>"""


@pytest.mark.parametrize(
    ("allowed", "code"),
    [
        ("# nothing\n", 1),
        ("tests\\.a\\.test_c: no data\n", 0),
        ("tests\\.a\\.test_c: .*\n", 0),
        ("no data\n", 1),
        ("# tests\\.a\\.test_c: no data\n", 1),
    ],
)
def test_a_skip_needs_leave(tmp_path, allowed, code):
    report, leave = tmp_path / "junit.xml", tmp_path / "allowed"
    report.write_text(REPORT, encoding="utf-8")
    leave.write_text(allowed, encoding="utf-8")
    command = [sys.executable, SCRIPT, report, leave]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    assert result.returncode == code
    assert ("tests.a.test_c: no data" in result.stderr) == bool(code)


def test_a_missing_report_is_no_success(tmp_path):
    command = [sys.executable, SCRIPT, tmp_path / "none.xml", ROOT / ".ci" / "allowed_skips"]
    assert subprocess.run(command, capture_output=True, check=False).returncode != 0


@pytest.fixture
def clone(tmp_path):
    """A small project with the real check script and a suite of its own."""

    def make(test: str, fence: str = "bash suite") -> subprocess.CompletedProcess[str]:
        shutil.copytree(ROOT / ".ci", tmp_path / ".ci")
        command = f"{sys.executable} -m pytest -p no:cacheprovider test_small.py"
        readme = f"# Small\n\n```{fence}\n{command}\n```\n\n```text\nfalse\n```\n"
        (tmp_path / "README.md").write_text(readme, encoding="utf-8")
        (tmp_path / "test_small.py").write_text(test, encoding="utf-8")
        (tmp_path / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
        surroundings = {**os.environ, "PYTEST_ADDOPTS": ""}
        script = [tmp_path / ".ci" / "run"]
        return subprocess.run(
            script, cwd="/", env=surroundings, capture_output=True, text=True, check=False
        )

    return make


def test_the_script_ends_with_the_closing_line_of_the_suite(clone):
    result = clone("import os\n\n\ndef test_a():\n    assert os.environ['CI'] == 'true'\n")
    assert result.returncode == 0, result.stdout + result.stderr
    assert re.search(r"1 passed in [0-9.]+s", result.stdout.splitlines()[-1])


def test_the_script_fails_when_a_test_fails(clone):
    result = clone("def test_a():\n    assert False\n")
    assert result.returncode == 1
    assert re.search(r"1 failed in [0-9.]+s", result.stdout.splitlines()[-1])


def test_the_script_fails_when_a_test_is_skipped(clone):
    result = clone("import pytest\n\n\ndef test_a():\n    pytest.skip('no data')\n")
    assert result.returncode == 1
    assert "skipped without leave" in result.stderr
    assert "1 skipped" in result.stdout.splitlines()[-1]


def test_the_script_fails_when_nothing_is_collected(clone):
    assert clone("x = 1\n").returncode != 0


def test_the_script_fails_without_the_command(clone):
    result = clone("def test_a():\n    pass\n", fence="bash")
    assert result.returncode == 2
    assert "bash suite" in result.stderr
