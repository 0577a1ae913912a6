"""Posted findings to coded resources, for the tests of coding."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any

import jiter
from tests.exam.builders import exam, to_json

from brachium.assess.assessment import Assessment, assess
from brachium.coding.encode import encode
from brachium.coding.options import CodingOptions, Encoded, Stamp
from brachium.coding.provenance import provenance
from brachium.exam.canonical import canonical, digest
from brachium.exam.findings import Exam
from brachium.exam.leaves import leaves
from brachium.problems import Problem
from brachium.tables.load import Tables, load

CANONICAL = "https://brachium.example.org/fhir"
OWN = f"{CANONICAL}/CodeSystem/arm-exam"
LOINC, SNOMED = "http://loinc.org", "http://snomed.info/sct"
RECORDED = "2026-03-02T09:31:07.412Z"
STAMP = Stamp(recorded=RECORDED)


def options(**changes: Any) -> CodingOptions:
    return CodingOptions(CANONICAL, "9.9.9", **changes)


@cache
def tables() -> Tables:
    return load()


@dataclass
class Coded:
    """What came out, as parsed JSON (numbers as Decimal) and as it was made."""

    exam: Exam
    assessment: Assessment
    encoded: Encoded
    resources: list[dict[str, Any]]

    @property
    def problems(self) -> tuple[Problem, ...]:
        return self.encoded.problems

    @property
    def bundle(self) -> dict[str, Any]:
        base = "https://brachium.example.org/fhir"
        return {
            "resourceType": "Bundle",
            "type": "collection",
            "timestamp": RECORDED,
            "entry": [
                {"fullUrl": f"{base}/{one['resourceType']}/{one['id']}", "resource": one}
                for one in self.resources
            ],
        }

    @property
    def report(self) -> dict[str, Any]:
        return self.of("DiagnosticReport")[0]

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [one for one in self.resources if one["resourceType"] == kind]

    def leaf(self, key: str) -> dict[str, Any]:
        wanted = f"{self.exam.identifier.value}/{key}"
        found = [o for o in self.of("Observation") if o["identifier"][0]["value"] == wanted]
        assert len(found) == 1, (key, len(found))
        return found[0]

    @property
    def panels(self) -> list[dict[str, Any]]:
        return [one for one in self.of("Observation") if "hasMember" in one]

    @property
    def derived(self) -> list[dict[str, Any]]:
        return [one for one in self.of("Observation") if "derivedFrom" in one]


def code_exam(
    posted: Exam, stamp: Stamp = STAMP, some: Tables | None = None, **changes: Any
) -> Coded:
    """Code an exam that was already read."""
    known, how = some or tables(), options(**changes)
    found = leaves(posted, known)
    judged = assess(posted, found, known)
    made = encode(posted, found, judged, known, how, stamp)
    record = provenance(posted, made.resources, known, how, stamp, digest(canonical(posted)))
    texts = [one.text(one.version or 1, RECORDED) for one in (*made.resources, record)]
    return Coded(posted, judged, made, [jiter.from_json(t, float_mode="decimal") for t in texts])


def code(*findings: dict[str, Any], stamp: Stamp = STAMP, **more: Any) -> Coded:
    """Code findings; ``header`` changes the exam, everything else the coding options."""
    header = more.pop("header", {})
    some = more.pop("some", None)
    posted = jiter.from_json(to_json(exam(*findings, **header)), float_mode="decimal")
    return code_exam(Exam.model_validate(posted), stamp, some, **more)


def code_of(coded: dict[str, Any], system: str) -> list[str]:
    return [c["code"] for c in coded["coding"] if c["system"] == system]


def component(observation: dict[str, Any], name: str) -> list[dict[str, Any]]:
    return [c for c in observation.get("component", ()) if name in code_of(c["code"], OWN)]


def number(text: str) -> Decimal:
    return Decimal(text)
