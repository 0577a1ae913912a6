"""The check script's look at skipped tests: what it lets pass and what it does not."""

from __future__ import annotations

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
