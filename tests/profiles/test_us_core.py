"""US Core 8.0.0 over everything in the examples, by the elements its profiles name.

Clinical Result and Simple Observation are read from HL7's own files. For the others the compulsory
elements stand below; what does not hold is named with its element, and so in the README.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import fhirpathpy
import pytest
from fhirpathpy.models import models
from tests.oracles.definitions import plain
from tests.profiles.judged import BUNDLES, golden, resources

NAMES = sorted(path.stem for path in BUNDLES.glob("*.collection.json"))
PROFILES = ("us-core-observation-clinical-result", "us-core-simple-observation")
CATEGORIES = ("us-core-clinical-result-observation-category", "us-core-simple-observation-category")
README = (BUNDLES.parents[1] / "README.md").read_text(encoding="utf-8")


@cache
def everything(kind: str) -> tuple[Any, ...]:
    """Every resource of a type in the examples, the same person once."""
    found = {}
    for name in NAMES:
        for one in resources(golden(name), kind):
            found[name if kind == "Provenance" else one["id"]] = plain(one)
    return tuple(found.values())


def read(shared_dir: Path, kind: str, name: str) -> Any:
    path = shared_dir / "data" / "us-core-8" / f"{kind}-{name}.json"
    return json.loads(path.read_text(encoding="utf-8"))


def present(resource: Any, path: str) -> int:
    name = path.partition(".")[2].removesuffix("[x]")
    if path.endswith("[x]"):
        return sum(key.startswith(name) and key[len(name) :][:1].isupper() for key in resource)
    value = resource.get(name, [])
    return len(value) if isinstance(value, list) else 1


@pytest.mark.parametrize("name", PROFILES)
def test_cap_07_us_core_8_compulsory_elements_of_observations(shared_dir, name):
    rows = read(shared_dir, "StructureDefinition", name)["differential"]["element"]
    compulsory = [row["path"] for row in rows if row.get("min", 0) > 0 and ":" not in row["id"]]
    assert "Observation.subject" in compulsory
    assert "Observation.category" in compulsory
    assert len(everything("Observation")) > 1000
    for one in everything("Observation"):
        for path in compulsory:
            assert present(one, path) >= 1, (path, one["id"])


@pytest.mark.parametrize("name", PROFILES)
def test_cap_07_us_core_8_rules_of_observations(shared_dir, name):
    rows = read(shared_dir, "StructureDefinition", name)["differential"]["element"]
    rules = [(row["path"], rule) for row in rows for rule in row.get("constraint", ())]
    keys = {rule["key"] for _, rule in rules}
    if name == PROFILES[0]:
        assert keys == {"us-core-1", "us-core-2", "us-core-3"}
    for path, rule in rules:
        element = path.partition(".")[2].removesuffix("[x]")
        expression = rule["expression"]
        if element:
            expression = f"{element}.all({expression})"
        ask = fhirpathpy.compile(expression, models["r4"])
        for one in everything("Observation"):
            assert all(verdict is True for verdict in ask(one)), (rule["key"], one["id"])


@pytest.mark.parametrize("name", CATEGORIES)
def test_cap_07_us_core_8_category_slice_of_observations(shared_dir, name):
    include = read(shared_dir, "ValueSet", name)["compose"]["include"]
    for one in everything("Observation"):
        codings = [coding for concept in one["category"] for coding in concept["coding"]]
        assert any(
            coding["system"] == part["system"]
            and ("concept" not in part or coding["code"] in [c["code"] for c in part["concept"]])
            for coding in codings
            for part in include
        ), one["id"]


def test_cap_07_us_core_8_types_of_references_and_values_of_observations(shared_dir):
    rows = read(shared_dir, "StructureDefinition", PROFILES[0])["differential"]["element"]
    by_path = {row["path"]: row for row in rows if ":" not in row["id"]}
    for path, members in (
        ("Observation.subject", "subject"),
        ("Observation.performer", "performer"),
    ):
        targets = {url.rpartition("/")[2] for url in by_path[path]["type"][0]["targetProfile"]}
        plainly = {one.removeprefix("us-core-").lower() for one in targets}
        for one in everything("Observation"):
            for reference in [one[members]] if members == "subject" else one[members]:
                assert reference["reference"].split("/")[0].lower() in plainly
    kinds = {kind["code"] for kind in by_path["Observation.value[x]"]["type"]}
    for one in everything("Observation"):
        values = [key.removeprefix("value") for key in one if key.startswith("value")]
        assert set(values) <= kinds


# compulsory elements of the other profiles that an exam meets ...
HOLDS = (
    (
        "DiagnosticReport",
        "us-core-diagnosticreport-note",
        ("status", "category", "code", "subject"),
    ),
    ("DiagnosticReport", "us-core-8 (effective unless registered)", ("effectiveDateTime",)),
    ("Patient", "us-core-patient", ("identifier", "gender")),
    ("Practitioner", "us-core-practitioner", ("identifier",)),
    ("Provenance", "us-core-provenance", ("target", "recorded", "agent")),
)
# ... and those it does not: an exam names nobody, and its report is in a category of our own
LACKS = (
    ("Patient", "us-core-patient", "name"),
    ("Practitioner", "us-core-practitioner", "name"),
    ("Organization", "us-core-organization", "active"),
    ("Organization", "us-core-organization", "name"),
)
REPORT_CATEGORIES = {"LP29684-5", "LP29708-2", "LP7839-6"}


@pytest.mark.parametrize(("kind", "profile", "members"), HOLDS, ids=lambda one: str(one)[:40])
def test_cap_07_us_core_8_what_holds(kind, profile, members):
    assert everything(kind)
    for one in everything(kind):
        assert [name for name in members if not one.get(name)] == [], profile


def test_cap_07_us_core_8_provenance_1_a_practitioner_acts_on_behalf_of_a_house():
    for one in everything("Provenance"):
        for agent in one["agent"]:
            reference = agent["who"].get("reference", "")
            assert not reference.startswith("Practitioner/") or "onBehalfOf" in agent


def test_cap_07_us_core_8_identifiers_have_system_and_value():
    for kind in ("Patient", "Practitioner"):
        for one in everything(kind):
            assert all(by["system"] and by["value"] for by in one["identifier"])


@pytest.mark.parametrize(("kind", "profile", "member"), LACKS)
def test_cap_07_us_core_8_what_does_not_hold_is_told(kind, profile, member):
    assert all(member not in one for one in everything(kind))
    assert f"{kind}.{member}" in README, profile


def test_cap_07_us_core_8_the_category_of_a_report_is_told():
    codes = {
        coding["code"]
        for one in everything("DiagnosticReport")
        for concept in one["category"]
        for coding in concept["coding"]
    }
    assert codes.isdisjoint(REPORT_CATEGORIES)
    assert "DiagnosticReport.category" in README
