"""No published advisory is about a version that runs here, as far as advisories can be read."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from brachium.cli.sbom import OURS, needed

# a version with advisories that will not go away, to see that they arrive at all
KNOWN_BAD = "pyyaml==5.3"


def audited(requirements, folder):
    """What pip-audit says about exact versions: by name its advisories, or None for no answer."""
    path = folder / "requirements.txt"
    path.write_text("\n".join(requirements))
    command = [sys.executable, "-m", "pip_audit", "--requirement", str(path), "--format", "json"]
    flags = ["--no-deps", "--disable-pip", "--progress-spinner", "off", "--timeout", "10"]
    result = subprocess.run([*command, *flags], capture_output=True, text=True, check=False)
    if not result.stdout.strip():
        return {}
    return {
        one["name"]: None if "skip_reason" in one else one["vulns"]
        for one in json.loads(result.stdout)["dependencies"]
    }


def test_no_advisory_is_about_what_runs(tmp_path):
    if not audited([KNOWN_BAD], tmp_path).get(KNOWN_BAD.split("==", maxsplit=1)[0]):
        pytest.skip("NOT TESTED: the advisories of the package index cannot be read from here")
    packages = {name: one.version for name, one in needed(OURS).items() if name != OURS}
    found = audited([f"{name}=={version}" for name, version in packages.items()], tmp_path)
    assert len(found) == len(packages) > 20
    assert [name for name, vulns in found.items() if vulns is None] == []
    assert {name: [one["id"] for one in vulns] for name, vulns in found.items() if vulns} == {}
