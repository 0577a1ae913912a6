"""Client libraries from npm, fetched once per user into the cache that the oracles use too."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

from tests.oracles.definitions import cache_folder

PACKAGES = ("fhir-kit-client@2.0.3", "fhirclient@2.6.3")
# what a library could use beside node itself is left out, and no script of a package is run
QUIETLY = ("--no-audit", "--no-fund", "--omit=optional", "--legacy-peer-deps", "--ignore-scripts")


class NpmUnavailableError(Exception):
    """The libraries are neither in the cache nor to be had."""


@cache
def modules() -> Path:
    """Return the folder ``node_modules`` with both libraries."""
    home = cache_folder() / "brachium-tests"
    target = home / "-".join(("npm", *(name.replace("@", "-") for name in PACKAGES)))
    if (target / "node_modules").is_dir():
        return target / "node_modules"
    if not shutil.which("npm") or not shutil.which("node"):
        raise NpmUnavailableError("node and npm are not installed")
    home.mkdir(parents=True, exist_ok=True)
    work = Path(tempfile.mkdtemp(dir=home, prefix="fetch-"))
    try:
        _install(work)
        _publish(work, target)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return target / "node_modules"


def _install(folder: Path) -> None:
    command = ["npm", "install", *QUIETLY, *PACKAGES]
    done = subprocess.run(
        command, cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )
    if done.returncode:
        raise NpmUnavailableError(done.stderr.strip()[-400:])


def _publish(ready: Path, target: Path) -> None:
    """Rename into place; who comes second uses what is there."""
    try:
        ready.rename(target)
    except OSError:
        if not target.is_dir():
            raise
