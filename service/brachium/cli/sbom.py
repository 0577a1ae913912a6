"""``brachium sbom``: what the installed service is made of, as CycloneDX 1.6.

It is read from what is installed here, so it tells the versions that run and not those that were
meant to. What the test suite needs besides is not in it.
"""

from __future__ import annotations

import argparse
import re
import sys
from importlib import metadata
from typing import TYPE_CHECKING, Any

import orjson

from brachium.cli.shown import OK
from brachium.wiring import utc_now

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.metadata import Distribution

    from brachium.settings import Settings

OURS = "brachium"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
# a whole licence text is no name of a licence
_LONGEST = 100


def run(_asked: argparse.Namespace, _settings: Settings) -> int:
    """Write the bill of materials to standard output."""
    sys.stdout.buffer.write(orjson.dumps(bill(), option=orjson.OPT_INDENT_2) + b"\n")
    sys.stdout.buffer.flush()
    return OK


def bill() -> dict[str, Any]:
    """Return the bill of materials: the service, everything it needs, and who needs what."""
    installed = needed(OURS)
    own = installed.pop(OURS)
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {
            "timestamp": utc_now(),
            "component": {"type": "application", **_component(own)},
        },
        "components": [{"type": "library", **_component(one)} for one in installed.values()],
        "dependencies": [
            {
                "ref": _reference(one),
                "dependsOn": [
                    _reference(installed[name]) for name in sorted(wants(one)) if name in installed
                ],
            }
            for one in (own, *installed.values())
        ],
    }


def normalized(name: str) -> str:
    """Return the name of a package as it is compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def wants(package: Distribution) -> set[str]:
    """Return the packages that one names, those of its extras aside."""
    lines = (line for line in package.requires or () if "extra ==" not in line)
    return {normalized(found[0]) for line in lines if (found := _NAME.match(line))}


def needed(name: str) -> dict[str, Distribution]:
    """Return a package and everything that it needs, directly or not, as far as installed.

    What is not installed is not wanted on this machine: its condition does not hold here.
    """
    found: dict[str, Distribution] = {}
    waiting = [name]
    while waiting:
        one = waiting.pop()
        if one in found:
            continue
        try:
            found[one] = metadata.distribution(one)
        except metadata.PackageNotFoundError:
            continue
        waiting += wants(found[one])
    return dict(sorted(found.items()))


def _reference(package: Distribution) -> str:
    return f"pkg:pypi/{normalized(package.name)}@{package.version}"


def _component(package: Distribution) -> dict[str, Any]:
    reference = _reference(package)
    found: dict[str, Any] = {"name": package.name, "version": package.version, "purl": reference}
    licence = licence_of(package)
    if licence:
        found["licenses"] = [{"license": {"name": licence}}]
    return {"bom-ref": reference, **found}


def _titles(package: Distribution) -> Iterator[str]:
    """Yield the first line of each licence that came along."""
    wanted = package.metadata.get_all("License-File") or []
    for file in package.files or ():
        if any(file.match(name) for name in wanted):
            yield next(iter(file.read_text().strip().splitlines()), "").strip("# ")


def licence_of(package: Distribution) -> str:
    """Return the licence that a package says it has; empty when it says none."""
    told = package.metadata
    classified = [
        line.rpartition(" :: ")[2]
        for line in told.get_all("Classifier") or ()
        if line.startswith("License :: ")
    ]
    expression = told.get_all("License-Expression") or []
    named = told.get_all("License") or []
    candidates = (*expression, " AND ".join(classified), *named, *_titles(package))
    fit = (one for one in candidates if one and len(one) < _LONGEST and one != "UNKNOWN")
    return next(fit, "")
