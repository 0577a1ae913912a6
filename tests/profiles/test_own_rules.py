"""The rules of our profiles say the same in FHIRPath, for others, and in Python, for us."""

from __future__ import annotations

import copy
from typing import Any

import fhirpathpy
import pytest
from fhirpathpy.models import models
from tests.oracles.definitions import plain
from tests.profiles.judged import CANONICAL, golden, resources

from brachium.formats.incoming import parse, write
from brachium.profiles.artifacts import profiles
from brachium.profiles.base import Rule

NAMES = ("parts-not-tested", "hyperextending-elbow")


def rules() -> dict[str, Rule]:
    return {rule.key: rule for one in profiles(CANONICAL) for row in one.rows for rule in row.rules}


def said(expression: Any, resource: Any) -> bool:
    return all(one is True for one in expression(plain(resource)))


def worse(one: Any) -> list[Any]:
    """The same Observation with something taken away or put in."""
    removable = (
        "dataAbsentReason",
        "valueQuantity",
        "valueCodeableConcept",
        "component",
        "bodySite",
    )
    found = [one, *({k: v for k, v in one.items() if k != name} for name in removable)]
    found.append({**one, "status": "cancelled"})
    found.append({**one, "dataAbsentReason": {"coding": [{"system": "urn:x"}]}})
    found.append({**one, "valueQuantity": {"value": 5}})
    quantity = one.get("valueQuantity", {})
    found += [{**one, "valueQuantity": {**quantity, "value": value}} for value in (-5, 0, 5)]
    for code in ("51440002", "7771000", "0"):
        other = copy.deepcopy(one)
        coding = other["bodySite"]["extension"][0]["valueCodeableConcept"]["coding"]
        coding[0]["code"] = code
        found.append(other)
    twice = copy.deepcopy(one)
    twice["bodySite"]["extension"] *= 2
    return [*found, twice]


def looked_at(name: str) -> list[Any]:
    """One Observation of each shape: which members it has, and what its components are."""
    shapes = {
        (
            *sorted(one),
            *(part["code"]["coding"][0]["code"] for part in one.get("component", ())),
        ): one
        for one in resources(golden(f"{name}.collection"), "Observation")
    }
    return list(shapes.values())


@pytest.mark.parametrize("key", sorted(rules()))
def test_obs_19_an_expression_and_its_check_agree(key):
    rule = rules()[key]
    assert rule.check is not None
    expression = fhirpathpy.compile(rule.expression, models["r4"])
    tried = set()
    for name in NAMES:
        bundle = golden(f"{name}.collection")
        if key == "arm-one-report":
            empty = {**bundle, "entry": bundle["entry"][:3]}
            cases = [bundle, empty]
        else:
            cases = [case for one in looked_at(name) for case in worse(one)]
        for case in cases:
            verdict = rule.check(parse(write(case)))
            assert verdict is said(expression, case), (key, case["resourceType"])
            tried.add(verdict)
    assert tried == {True, False}
