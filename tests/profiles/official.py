"""HL7's official examples of 4.0.1 (npm: ``hl7.fhir.r4.examples``), fetched once per user."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tarfile
import tempfile
from functools import cache
from pathlib import Path

from tests.oracles.definitions import DefinitionsUnavailableError, cache_folder

PACKAGE = "hl7.fhir.r4.examples@4.0.1"
DIGEST = "dce87f1b5b9341867033f7d1f544fa1b5232503f6d62813887ac6b8a8b6cb682"
KINDS = (
    "Observation",
    "DiagnosticReport",
    "Patient",
    "Practitioner",
    "Organization",
    "Provenance",
    "Composition",
    "QuestionnaireResponse",
    "Bundle",
)


@cache
def folder() -> Path:
    """Return the folder of the examples of our types; raises when they are not to be had."""
    home = cache_folder() / "brachium-tests"
    target = home / f"hl7.fhir.r4.examples-{DIGEST[:12]}"
    if target.is_dir():
        return target
    home.mkdir(parents=True, exist_ok=True)
    work = Path(tempfile.mkdtemp(dir=home, prefix="fetch-"))
    try:
        _unpack(_download(work), work / "ready")
        (work / "ready").rename(target)
    except OSError:
        if not target.is_dir():
            raise
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return target


def _download(work: Path) -> Path:
    npm = shutil.which("npm")
    if npm is None:
        raise DefinitionsUnavailableError(f"npm is needed to download {PACKAGE}")
    command = [npm, "pack", "--silent", "--pack-destination", str(work), PACKAGE]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    archives = sorted(work.glob("*.tgz"))
    if done.returncode or not archives:
        raise DefinitionsUnavailableError(f"cannot download {PACKAGE}: {done.stderr[-400:]}")
    if hashlib.sha256(archives[0].read_bytes()).hexdigest() != DIGEST:
        raise DefinitionsUnavailableError(f"{PACKAGE} is not the package we know (digest differs)")
    return archives[0]


def _unpack(archive: Path, target: Path) -> None:
    target.mkdir()
    with tarfile.open(archive) as tar:
        for member in tar:
            name = Path(member.name).name
            source = tar.extractfile(member) if name.split("-")[0] in KINDS else None
            if source is not None:
                (target / name).write_bytes(source.read())
