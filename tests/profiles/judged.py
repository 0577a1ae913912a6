"""The judge that $validate asks, over the shipped tables, and resources to ask it about."""

from __future__ import annotations

import copy
from functools import cache
from pathlib import Path
from typing import Any

from brachium.exam.rule import ModelOptions
from brachium.formats.incoming import parse
from brachium.problems import Problem, Severity
from brachium.profiles.judging import Judging
from brachium.tables.load import load

CANONICAL = "https://brachium.example.org/fhir"
OWN = f"{CANONICAL}/CodeSystem/arm-exam"
R4 = "http://hl7.org/fhir/StructureDefinition"
BUNDLES = Path(__file__).resolve().parents[2] / "examples" / "bundles"


@cache
def judging() -> Judging:
    """The judge, made once."""
    return Judging(load(), CANONICAL, ModelOptions())


def judged(resource: Any, profile: str = "") -> tuple[Problem, ...]:
    """What there is to say of a resource."""
    return judging().judge(resource, profile)


def errors(resource: Any, profile: str = "") -> list[Problem]:
    """What makes a resource unfit."""
    return [one for one in judged(resource, profile) if one.severity is Severity.ERROR]


@cache
def _golden(name: str) -> Any:
    return parse((BUNDLES / f"{name}.json").read_bytes())


def golden(name: str) -> Any:
    """A bundle that the service handed out, to be changed."""
    return copy.deepcopy(_golden(name))


def resources(bundle: Any, kind: str) -> list[Any]:
    """The resources of a type."""
    found = (entry["resource"] for entry in bundle["entry"])
    return [one for one in found if one["resourceType"] == kind]
