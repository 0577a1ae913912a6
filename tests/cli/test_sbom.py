"""The bill of materials names everything that runs, with its licence."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

from brachium.cli.parser import main
from brachium.cli.sbom import OURS, bill, needed, normalized

ROOT = Path(__file__).resolve().parents[2]


def declared():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return {normalized(re.match(r"[\w.-]+", one)[0]) for one in project["dependencies"]}


def test_every_runtime_dependency_is_in_it_with_a_licence():
    found = {normalized(one["name"]): one for one in bill()["components"]}
    told = "the installed metadata is older than pyproject.toml: install the project again"
    assert declared() <= set(found), told
    assert len(found) > len(declared())
    for one in found.values():
        (licence,) = one["licenses"]
        assert licence["license"]["name"], one["name"]
        assert one["purl"] == f"pkg:pypi/{normalized(one['name'])}@{one['version']}"
    assert not {"pytest", "mypy", "ruff", OURS} & set(found)


def test_who_needs_what_is_told_and_leads_somewhere():
    made = bill()
    refs = {one["bom-ref"] for one in made["components"]}
    refs.add(made["metadata"]["component"]["bom-ref"])
    tree = {one["ref"]: one["dependsOn"] for one in made["dependencies"]}
    assert set(tree) == refs
    assert {ref for wanted in tree.values() for ref in wanted} <= refs
    own = tree[made["metadata"]["component"]["bom-ref"]]
    assert {re.match(r"pkg:pypi/(.+)@", one)[1] for one in own} >= {"fastapi", "orjson"}
    assert "starlette" in needed(OURS)


def test_the_command_writes_valid_cyclonedx(capfdbinary):
    assert main(["sbom"]) == 0
    text = capfdbinary.readouterr().out.decode()
    validator = JsonStrictValidator(SchemaVersion.V1_6)
    assert validator.validate_str(text) is None
    broken = json.loads(text)
    broken["components"][0]["type"] = "nothing"
    assert validator.validate_str(json.dumps(broken)) is not None
