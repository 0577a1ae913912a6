"""The documents say what is so: every command runs, every exam is what the text says of it."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import time
import tomllib
import urllib.request
from dataclasses import fields
from pathlib import Path

import pytest
from tests.documentation import codes, snippets

from brachium.api.caution import CAUTION
from brachium.cli.parser import EXIT_CODES
from brachium.coding.response_reading import read_response
from brachium.formats import lossless
from brachium.settings import PREFIX, Settings
from brachium.tables.load import load
from brachium.wiring import build

ROOT = snippets.ROOT
BIN = Path(sys.executable).parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def flat(text: str) -> str:
    return " ".join(text.split())


def environment() -> dict[str, str]:
    clean = {name: value for name, value in os.environ.items() if not name.startswith(PREFIX)}
    return {**clean, "PATH": f"{BIN}{os.pathsep}{os.environ['PATH']}"}


def run(script: str, cwd: Path = ROOT, **more: object) -> subprocess.CompletedProcess[bytes]:
    command = ["bash", "-euo", "pipefail", "-c", script]
    return subprocess.run(
        command, cwd=cwd, env=environment(), capture_output=True, check=False, **more
    )


def named(kind: str):
    return pytest.mark.parametrize("snippet", snippets.all_of(kind), ids=lambda one: one.name)


def test_every_code_block_is_of_a_kind_that_is_checked():
    assert {snippet.kind for snippet in snippets.all_of()} == snippets.KINDS


def test_the_finder_of_code_blocks_finds_them():
    text = "a\n\n```bash shell\nx\n```\n\n```text\ny\nz\n```\n"
    found = snippets.in_text(text, "T.md")
    assert [(one.kind, one.text, one.line) for one in found] == [
        ("bash shell", "x\n", 3),
        ("text", "y\nz\n", 7),
    ]


@named("bash shell")
def test_shell_commands_succeed(snippet):
    result = run(snippet.text)
    assert result.returncode == 0, result.stderr.decode()


@named("json exam")
def test_exams_are_accepted(snippet):
    result = run("brachium check -", input=snippet.text.encode())
    assert result.returncode == 0, result.stdout.decode()
    assert b"error:" not in result.stdout


@named("json refused")
def test_refused_exams_are_refused(snippet):
    result = run("brachium check -", input=snippet.text.encode())
    assert result.returncode == 1
    assert b"armPosition" in result.stdout + result.stderr


@named("json response")
def test_responses_are_exams_that_are_accepted(snippet):
    found = read_response(lossless.parse(snippet.text.encode()), load(), Settings().canonical)
    assert {one.code for one in found.problems} <= {"response-edition"}
    result = run("brachium check -", input=found.content())
    assert result.returncode == 0, result.stdout.decode()


@pytest.fixture
def service(tmp_path):
    """The base address of a service that runs on a free port with an empty database."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [
        BIN / "brachium",
        "serve",
        "--port",
        str(port),
        "--database",
        tmp_path / "db.sqlite3",
    ]
    with subprocess.Popen(
        command, env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        try:
            wait_for(port, process)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()


def wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 30
    while time.monotonic() < until and process.poll() is None:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    pytest.fail("the service did not start")


@named("bash serve")
def test_the_conversation_happens_as_told(snippet, service):
    result = run(snippet.text.replace("http://127.0.0.1:8321", service))
    assert result.returncode == 0, result.stderr.decode()


@named("python client")
def test_the_client_logs_in_and_searches(snippet, service, tmp_path):
    add = "brachium clients add my-app --role clinic-app --make-key my-app.jwks"
    added = run(f"{add} --database db.sqlite3", tmp_path)
    assert added.returncode == 0, added.stderr.decode()
    code = snippet.text.replace("http://127.0.0.1:8321", service)
    result = run("python -", tmp_path, input=code.encode())
    assert result.returncode == 0, result.stderr.decode()
    assert result.stdout == b"0\n"
    unknown = run("python -", tmp_path, input=code.replace('"iss": "my', '"iss": "your').encode())
    assert unknown.returncode == 1


@named("bash audit")
def test_the_trail_is_verified_as_told(snippet, tmp_path):
    parts = build(Settings(database=tmp_path / "brachium.sqlite3"))
    parts.intake.receive((ROOT / "examples" / "draft.json").read_bytes())
    parts.close()
    result = run(snippet.text, cwd=tmp_path)
    assert result.returncode == 0, result.stderr.decode()
    assert result.stdout.decode().strip() == "1 entries, all as written"


def test_the_api_page_is_where_the_readme_says(service):
    assert "http://127.0.0.1:8321/docs" in README
    with urllib.request.urlopen(f"{service}/docs", timeout=10) as answer:
        assert answer.status == 200


def test_every_address_of_the_service_is_in_the_table(service):
    with urllib.request.urlopen(f"{service}/openapi.json", timeout=10) as answer:
        paths = json.load(answer)["paths"]
    served = {f"{method.upper()} {path}" for path, methods in paths.items() for method in methods}
    assert served
    told = re.findall(r"^\| `((?:GET|POST|PUT|PATCH|DELETE) [^`?]+)`", README, re.MULTILINE)
    assert set(told) == served


def test_err_04_every_code_is_in_the_readme_with_its_way_out():
    assert codes.kept(README)[1] == codes.table()


def test_set_up_commands_need_nothing_but_python():
    for kind in ("bash demo", "bash suite"):
        for snippet in snippets.all_of(kind):
            assert snippet.text.startswith("python3 -m venv .venv && .venv/bin/pip install ")
            assert len(snippet.text.splitlines()) == 1


def test_both_documents_give_the_same_suite_command_and_the_check_script_takes_it():
    commands = [snippet.text for snippet in snippets.all_of("bash suite")]
    assert len(commands) == 2
    assert len(set(commands)) == 1
    assert "bash suite" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@named("bash golden")
def test_the_command_for_kept_files_is_that_of_its_module(snippet):
    module = snippet.text.split()[-1]
    path = ROOT / Path(*module.split(".")).with_suffix(".py")
    assert f"``{snippet.text.strip()}``" in path.read_text(encoding="utf-8")


def test_the_readme_opens_with_the_job_then_cautions_then_commands():
    headings = re.findall(r"^#+ (.+)$", README, re.MULTILINE)
    assert headings[:3] == ["brachium", "Cautions", "Start"]
    opening = README.split("## ")[0].split("\n\n")
    assert len([part for part in opening if part.strip()]) == 2


def test_the_caution_is_the_one_that_the_service_shows():
    assert flat(CAUTION) in flat(README)


def test_every_setting_is_in_the_table_with_its_default():
    rows = dict(re.findall(r"^\| `(BRACHIUM_\w+)` \| (.+?) \|", README, re.MULTILINE))
    shown = {True: "`on`", False: "`off`", None: "none"}
    defaults = Settings()
    expected = {}
    for field in fields(Settings):
        value = getattr(defaults, field.name)
        known = value is None or isinstance(value, bool)
        expected[PREFIX + field.name.upper()] = shown[value] if known else f"`{value}`"
    assert rows == expected


def test_every_exit_code_is_in_the_table():
    documented = set(re.findall(r"^  (\d)  ", EXIT_CODES, re.MULTILINE))
    assert documented
    assert set(re.findall(r"^\| (\d) \|", README, re.MULTILINE)) == documented


def test_every_command_is_in_the_table():
    helped = run("brachium --help").stdout.decode()
    commands = set(re.findall(r"^    (\w+)  ", helped, re.MULTILINE))
    assert commands
    assert set(re.findall(r"^\| `brachium (\w+)", README, re.MULTILINE)) == commands


def test_every_dependency_has_its_reason_licence_and_upkeep():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = project["dependencies"] + project["optional-dependencies"]["test"]
    names = [re.match(r"[\w.-]+", one)[0].lower() for one in needed]
    table = DEVELOPERS.split("## Dependencies")[1]
    rows = re.findall(r"^\| ([\w.-]+) \| (.+) \| (.+) \| (.+) \|$", table, re.MULTILINE)
    told = [row[0] for row in rows if row[0] not in {"package", "---"}]
    assert sorted(told) == sorted(names)
    assert all(cell.strip() for row in rows for cell in row)


def test_every_layer_is_explained():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = project["tool"]["importlinter"]["contracts"]
    layers = next(one["layers"] for one in contracts if one["id"] == "layers")
    names = {name for row in layers for name in re.findall(r"\w+", row)} - {"__main__"}
    table = DEVELOPERS.split("## Layers")[1].split("## ")[0]
    told = {
        name
        for row in re.findall(r"^\| (`.+?) \|", table, re.MULTILINE)
        for name in re.findall(r"`(\w+)`", row)
    }
    assert told == names


def test_every_file_that_the_documents_name_exists():
    for text, base in ((README, ROOT), (DEVELOPERS, ROOT)):
        for name in re.findall(
            r"`((?:examples|mappings|tests|\.ci|coding|store|exam)/[\w./]*)`", text
        ):
            places = [base / name, ROOT / "service" / "brachium" / name]
            assert any(place.exists() for place in places), name
