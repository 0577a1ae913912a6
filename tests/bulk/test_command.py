"""``brachium export`` without a table: the same as the service, from the database."""

from __future__ import annotations

import argparse
import json

from tests.bulk.jobs import named, post, stored
from tests.bulk.test_consistency import exam

from brachium.cli import resources
from brachium.cli.parser import parser


def export(parts, *arguments: str) -> int:
    asked = parser().parse_args(["export", *arguments])
    assert isinstance(asked, argparse.Namespace)
    return resources.export(asked, parts)


def lines(folder) -> list[dict]:
    return [json.loads(line) for path in folder.iterdir() for line in path.read_text().splitlines()]


def test_blk_08_the_command_writes_everything_once_and_then_what_changed(fresh, tmp_path, capsys):
    parts = fresh.serving.parts
    common = ("--format", "ndjson", "--out")
    assert export(parts, *common, str(tmp_path / "a")) == 0
    assert named(lines(tmp_path / "a")) == stored(fresh.serving)
    moment = capsys.readouterr().out.split("up to ")[1].split()[0]
    before = stored(fresh.serving)
    post(fresh.serving, exam(1))
    assert export(parts, *common, str(tmp_path / "b"), "--since", moment) == 0
    changed = {k: v for k, v in stored(fresh.serving).items() if before.get(k) != v}
    assert named(lines(tmp_path / "b")) == changed
    assert export(parts, *common, str(tmp_path / "c"), "--type", "Patient") == 0
    assert [path.name for path in (tmp_path / "c").iterdir()] == ["Patient.ndjson"]


def test_the_command_says_what_it_needs(fresh, capsys):
    assert export(fresh.serving.parts, "--format", "csv") == 2
    assert "--out FOLDER" in capsys.readouterr().err
