"""The search rows of a stored Observation or DiagnosticReport, read from its own text.

Coding makes the rows of what it codes; what is only given another status later (withdrawn, or
taken out of an exam) is not coded again, and must be found all the same. A test holds both equal.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeAlias

import jiter

from brachium.coding.fhir import LATERALITY, OBSERVATION_STATUS, REPORT_STATUS
from brachium.records import SearchValue, StoredResource

Json: TypeAlias = Any

_STATUS_SYSTEM = {"Observation": OBSERVATION_STATUS, "DiagnosticReport": REPORT_STATUS}


def search_rows(row: StoredResource) -> tuple[SearchValue, ...]:
    """Return the search rows; nothing for other types of resource."""
    if row.type not in _STATUS_SYSTEM:
        return ()
    resource = jiter.from_json(row.text, float_mode="lossless-float")
    return tuple(SearchValue(name, value) for name, value in _pairs(resource))


def _pairs(resource: Json) -> Iterator[tuple[str, str]]:
    for by in resource["identifier"]:
        yield "identifier", f"{by['system']}|{by['value']}"
    yield "status", f"{_STATUS_SYSTEM[resource['resourceType']]}|{resource['status']}"
    yield from _tokens("code", resource["code"])
    for category in resource["category"]:
        yield from _tokens("category", category)
    yield from _tokens("-body-site", resource.get("bodySite", {}))
    for extension in resource.get("bodySite", {}).get("extension", ()):
        if extension["url"] == LATERALITY:
            yield from _tokens("-laterality", extension["valueCodeableConcept"])
    yield from _context(resource)


def _context(resource: Json) -> Iterator[tuple[str, str]]:
    yield "patient", resource["subject"]["reference"]
    yield "subject", resource["subject"]["reference"]
    yield "date", resource["effectiveDateTime"]
    for performer in resource["performer"]:
        yield "performer", performer["reference"]
    if "encounter" in resource:
        by = resource["encounter"]["identifier"]
        yield "encounter:identifier", f"{by['system']}|{by['value']}"
    for result in resource.get("result", ()):
        yield "result", result["reference"]


def _tokens(name: str, concept: Json) -> Iterator[tuple[str, str]]:
    return ((name, f"{c['system']}|{c['code']}") for c in concept.get("coding", ()))
