"""The profiles are good FHIR, are stricter than R4, and define everything that coding writes."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest
from tests.oracles import invariants, structure_401
from tests.oracles.book import EXTENSIONS
from tests.oracles.definitions import plain, structure
from tests.profiles.judged import BUNDLES, CANONICAL, golden
from tests.profiles.reduce import TARGET, reduced

from brachium.profiles.artifacts import artifacts
from brachium.profiles.base import base
from brachium.tables.load import load

GOLDENS = sorted(path.name.removesuffix(".json") for path in BUNDLES.glob("*.collection.json"))


@cache
def made() -> dict[tuple[str, str], dict]:
    found = {}
    for one in artifacts(load(), CANONICAL, "1.0"):
        assert (one["resourceType"], one["id"]) not in found
        found[one["resourceType"], one["id"]] = one
    return found


NAMES = sorted(made())
STRUCTURES = [name for kind, name in NAMES if kind == "StructureDefinition"]


@pytest.mark.usefixtures("fhir_definitions")
def test_trm_02_the_facts_of_r4_are_what_the_script_makes_of_hl7s_package():
    assert TARGET.read_bytes() == reduced()


@pytest.mark.usefixtures("fhir_definitions")
@pytest.mark.parametrize(("kind", "name"), NAMES)
def test_cap_07_every_artifact_is_valid_r4(kind, name):
    one = plain(made()[kind, name])
    assert invariants.complaints(one) == []
    assert structure_401.complaints(one) == []


def elements(name: str) -> list[dict]:
    return made()["StructureDefinition", name]["snapshot"]["element"]


def below(most: str, other: str) -> bool:
    return other == "*" or (most != "*" and int(most) <= int(other))


@pytest.mark.usefixtures("fhir_definitions")
@pytest.mark.parametrize("name", STRUCTURES)
def test_cap_07_a_snapshot_holds_every_element_of_r4_and_is_never_looser(name):
    kind = made()["StructureDefinition", name]["type"]
    own = {one["id"]: one for one in elements(name)}
    order = list(own)
    for one in structure(kind)["snapshot"]["element"]:
        mine = own[one["id"]]
        assert mine["min"] >= one["min"], one["id"]
        assert below(mine["max"], one["max"]), one["id"]
        assert mine["base"] == one["base"], one["id"]
        assert mine.get("isModifier", False) == one.get("isModifier", False)
        keys = {rule["key"] for rule in mine.get("constraint", ())}
        assert keys >= {rule["key"] for rule in one.get("constraint", ())}, one["id"]
        codes = {two["code"] for two in one.get("type", ())}
        assert {two["code"] for two in mine.get("type", ())} <= codes, one["id"]
    listed = [one["id"] for one in structure(kind)["snapshot"]["element"]]
    assert [one for one in order if one in set(listed)] == listed


@pytest.mark.parametrize("name", STRUCTURES)
def test_cap_07_the_differential_and_the_snapshot_say_the_same(name):
    own = {one["id"]: one for one in elements(name)}
    for one in made()["StructureDefinition", name]["differential"]["element"]:
        for member, value in one.items():
            if member == "constraint":
                assert all(rule in own[one["id"]]["constraint"] for rule in value)
            else:
                assert own[one["id"]][member] == value, (one["id"], member)
    assert len({one["id"] for one in elements(name)}) == len(elements(name))


@pytest.mark.usefixtures("fhir_definitions")
def test_no_sentence_of_hl7s_is_carried_over():
    theirs = {
        str(one[member])
        for kind in ("Observation", "Bundle", "Patient", "Extension", "DiagnosticReport")
        for one in structure(kind)["snapshot"]["element"]
        for member in ("short", "definition", "comment", "requirements")
        if member in one
    }
    theirs |= {
        rule["human"]
        for one in structure("Observation")["snapshot"]["element"]
        for rule in one.get("constraint", ())
    }
    ours = {one["definition"] for name in STRUCTURES for one in elements(name)}
    ours |= {
        rule["human"]
        for name in STRUCTURES
        for one in elements(name)
        for rule in one.get("constraint", ())
    }
    assert len(theirs) > 100
    assert ours & theirs == set()


def walked(value) -> Iterator[dict]:
    if isinstance(value, dict):
        yield value
        value = list(value.values())
    if isinstance(value, list):
        for one in value:
            yield from walked(one)


def own_urls(kind: str) -> set[str]:
    found = set()
    for name in GOLDENS:
        for one in walked(golden(name)):
            url = one.get("url" if kind == "StructureDefinition" else "system")
            if isinstance(url, str) and url.startswith(CANONICAL):
                found.add(url)
    return found


def test_trm_02_every_extension_that_coding_writes_is_defined():
    urls = own_urls("StructureDefinition")
    assert len(urls) >= 4
    urls |= {f"{CANONICAL}/StructureDefinition/{name}" for name in EXTENSIONS}
    defined = {made()["StructureDefinition", name]["url"] for name in STRUCTURES}
    assert urls <= defined


def test_trm_02_every_system_of_ours_that_coding_writes_is_named():
    urls = own_urls("NamingSystem")
    assert len(urls) >= 4
    named = {
        one["value"]
        for (kind, _), body in made().items()
        if kind == "NamingSystem"
        for one in body["uniqueId"]
    }
    assert urls <= named


def test_trm_01_what_is_made_of_the_tables_names_their_edition():
    tables = load()
    for (kind, _), body in made().items():
        if kind == "ValueSet":
            assert body["version"] == tables.edition
            assert body["date"] == tables.edition.replace(".", "-")


def test_obs_19_rules_stem_from_the_type_that_has_them():
    sources = {
        rule.key: rule.source
        for one in base().types.values()
        for element in one.elements
        for rule in element.rules
    }
    hl7 = "http://hl7.org/fhir/StructureDefinition/"
    expected = {"obs-6": "Observation", "dom-2": "DomainResource", "ele-1": "Element"}
    expected |= {"ext-1": "Extension", "per-1": "Period", "bdl-7": "Bundle", "qty-3": "Quantity"}
    for key, name in expected.items():
        assert sources[key] == hl7 + name
