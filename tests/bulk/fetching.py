"""smart-fetch, a public client of bulk and search, installed once per user beside the suite.

It has many dependencies of its own, so it lives in a virtual environment in the user's cache.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.oracles.definitions import cache_folder

REQUIREMENT = "smart-fetch==1.0.3"
# the client makes its own key; only the public half leaves it
_MAKE_KEY = """
import sys
from jwcrypto import jwk
key = jwk.JWK.generate(kty="EC", crv="P-384", kid="fetch-1", use="sig", alg="ES384")
private, public = jwk.JWKSet(), jwk.JWKSet()
key_operations = key.export(as_dict=True) | {"key_ops": ["sign"]}
private.add(jwk.JWK(**key_operations))
public.add(jwk.JWK(**key.export_public(as_dict=True)))
open(sys.argv[1], "w").write(private.export())
open(sys.argv[2], "w").write(public.export(private_keys=False))
"""


class FetcherUnavailableError(Exception):
    """The client is neither in the cache nor to be had from the package index."""


def environment() -> Path:
    """Return the folder of the virtual environment, made when it is not there yet."""
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    home = cache_folder() / "brachium-tests"
    target = home / f"{REQUIREMENT.replace('==', '-')}-py{version}"
    ready = target / "complete"
    if ready.is_file():
        return target
    home.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(target, ignore_errors=True)
    # scripts name the folder they were made in, so it is made where it stays
    subprocess.run([sys.executable, "-m", "venv", target], check=True, timeout=120)
    install = [target / "bin" / "python", "-m", "pip", "install", "--quiet", REQUIREMENT]
    done = subprocess.run(install, capture_output=True, text=True, check=False, timeout=600)
    if done.returncode:
        raise FetcherUnavailableError(f"cannot install {REQUIREMENT}: {done.stderr.strip()[-400:]}")
    ready.touch()
    return target


class Fetcher:
    """The client with its key, logged in at a service as ``name``."""

    def __init__(self, folder: Path, name: str) -> None:
        self._bin = environment() / "bin"
        self._folder = folder
        self.name = name
        self.key, self.public = folder / "private.jwks", folder / "public.jwks"
        make = [self._bin / "python", "-c", _MAKE_KEY, self.key, self.public]
        subprocess.run(make, check=True, timeout=60)

    def run(self, base: str, mode: str, out: Path, *more: str) -> str:
        """Export into ``out`` and return what the client said."""
        command = [self._bin / "smart-fetch", "export", out, "--fhir-url", f"{base}/fhir"]
        command += ["--smart-client-id", self.name, "--smart-key", self.key]
        command += ["--export-mode", mode, "--hydration-tasks", "none", "--no-compression", *more]
        with tempfile.TemporaryDirectory(dir=self._folder) as home:
            # nothing of the user's own settings takes part
            clean = {"PATH": os.environ["PATH"], "HOME": home}
            done = subprocess.run(
                command, capture_output=True, text=True, check=False, timeout=300, env=clean
            )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout
