"""The independent runner of ViewDefinitions, in a folder and a process of its own.

It wants an older FHIRPath library than the other tests: both do not go into one environment.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

VERSION = "0.0.2"
_PROGRAM = """
import json, sys
from sqlonfhir import evaluate
given = json.load(sys.stdin)
rows = [evaluate(given["resources"], view) for view in given["views"]]
json.dump(rows, sys.stdout, default=float)
"""


def folder() -> Path:
    """Where the runner is kept between runs, one folder for each user and version of Python."""
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    name = f"brachium-sqlonfhir-{VERSION}-{version}-{os.getuid()}"
    return Path(tempfile.gettempdir()) / name


def install() -> str:
    """Install the runner once; return what went wrong, or an empty text."""
    target = folder()
    if (target / "sqlonfhir").is_dir():
        return ""
    with tempfile.TemporaryDirectory(dir=target.parent) as fresh:
        command = [sys.executable, "-m", "pip", "install", "-q", "--target", f"{fresh}/there"]
        result = subprocess.run(
            [*command, f"sqlonfhir=={VERSION}"], capture_output=True, text=True, check=False
        )
        if result.returncode:
            return result.stderr[-300:]
        try:
            Path(fresh, "there").rename(target)
        except OSError:
            assert (target / "sqlonfhir").is_dir(), "another process did not install it either"
    return ""


def rows(views: list[Any], resources: list[Any]) -> list[list[dict[str, Any]]]:
    """The rows of each view over the resources."""
    given = json.dumps({"views": views, "resources": resources})
    command = [sys.executable, "-c", _PROGRAM]
    env = {**os.environ, "PYTHONPATH": str(folder())}
    result = subprocess.run(
        command, input=given, env=env, capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stderr[-2000:]
    return json.loads(result.stdout)
