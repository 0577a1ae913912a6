"""The demonstration, whole and as it fails."""

from __future__ import annotations

import json
import shutil

import pytest
from tests.cli.test_offline import EXAMPLES, brachium

from brachium.api.caution import CAUTION
from brachium.cli import examples
from brachium.cli.account import Account, told
from brachium.cli.examples import Example

NAMES = sorted(path.stem for path in EXAMPLES.glob("*.json"))


def test_the_demonstration_tells_of_every_example_and_leaves_the_bundles(tmp_path):
    done = brachium("demo", "--out", tmp_path / "out")
    told_lines = done.stdout.decode()
    assert done.returncode == 0, told_lines + done.stderr.decode()
    assert CAUTION in " ".join(told_lines.split())
    assert "brachium serve --database" in told_lines
    assert "/docs" in told_lines
    for name in NAMES:
        assert f"] {name}\n    accepted" in told_lines
        for kind in ("collection", "transaction", "document"):
            bundle = json.loads((tmp_path / "out" / "bundles" / f"{name}.{kind}.json").read_bytes())
            assert bundle["type"] == kind
    for path in (EXAMPLES / "refused").glob("*.json"):
        assert f"] refused/{path.stem}\n    refused (4" in told_lines
    again = brachium("demo", "--out", tmp_path / "out")
    assert again.returncode == 0


def test_the_demonstration_needs_a_folder_it_can_write(tmp_path):
    (tmp_path / "file").write_text("x")
    assert brachium("demo", "--out", tmp_path / "file" / "out").returncode == 2


def test_an_example_that_misbehaves_is_named_and_ends_with_1(tmp_path, monkeypatch, capsys):
    from brachium.cli import demo, main

    folder = tmp_path / "examples"
    (folder / "refused").mkdir(parents=True)
    shutil.copy(EXAMPLES / "child.json", folder / "refused" / "not-refused.json")
    shutil.copy(EXAMPLES / "refused" / "missing-side.json", folder / "not-accepted.json")
    monkeypatch.setattr(examples, "folder", lambda: folder)
    monkeypatch.setattr(demo, "examples", examples.examples)
    assert main(["demo", "--out", str(tmp_path / "out")]) == 1
    shown = capsys.readouterr().out
    assert "NOT AS MEANT: refused/not-refused" in shown
    assert "NOT AS MEANT: not-accepted" in shown


@pytest.mark.parametrize(
    ("refused", "status", "as_meant"),
    [
        (False, 201, True),
        (False, 422, False),
        (True, 422, True),
        (True, 201, False),
        (True, 500, False),
    ],
)
def test_what_is_meant(refused, status, as_meant):
    example = Example(EXAMPLES / "child.json", refused=refused)
    assert Account(example, status, {}).as_meant is as_meant


def test_what_is_left_out_of_the_account_is_counted():
    problems = [
        {"severity": "error", "pointer": f"/findings/{n}", "message": "m", "remedy": "r"}
        for n in range(9)
    ]
    account = Account(Example(EXAMPLES / "child.json", refused=True), 422, {"problems": problems})
    lines = list(told(account))
    assert lines[-1] == "- and 5 more, all in the answer and the bundle"
