"""The R4B models of fhir.resources, narrowed to what 4.0.1 and this project allow.

R4B differs from 4.0.1 in few places that concern us: wider subjects and some value choices. Those
are refused here, so that what passes is R4 (4.0.1) as well.
"""

from __future__ import annotations

from typing import Any

from fhir.resources.R4B import get_fhir_model_class
from pydantic import ValidationError
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import Json
from tests.oracles.graph import Graph

ORACLE = "structure-r4b"
_NOT_R4 = ("valueCodeableReference", "valueRatioRange", "valueInteger64")
_ABOUT_A_PATIENT = ("Observation", "DiagnosticReport")


def complaints(bundle: Json) -> list[Complaint]:
    """Judge a bundle, and with it every resource inside."""
    found = _model_faults(bundle)
    graph = Graph.of(bundle)
    for url, resource in graph.entries:
        found += _foreign_elements(resource, url)
        if resource.get("resourceType") in _ABOUT_A_PATIENT:
            found += _subject_faults(resource, url, graph)
    return found


def _model_faults(resource: Json) -> list[Complaint]:
    name = str(resource.get("resourceType"))
    try:
        get_fhir_model_class(name).model_validate(resource)
    except ValidationError as error:
        return [Complaint(ORACLE, _path(name, e["loc"]), e["msg"]) for e in error.errors()]
    except (LookupError, ValueError, TypeError) as error:
        return [Complaint(ORACLE, name, str(error))]
    return []


def _path(name: str, location: tuple[int | str, ...]) -> str:
    return ".".join((name, *(str(step) for step in location)))


def _foreign_elements(value: Any, where: str) -> list[Complaint]:
    if isinstance(value, list):
        return [c for item in value for c in _foreign_elements(item, where)]
    if not isinstance(value, dict):
        return []
    found = [Complaint(ORACLE, where, f"{key} is not R4") for key in _NOT_R4 if key in value]
    return found + [c for item in value.values() for c in _foreign_elements(item, where)]


def _subject_faults(resource: Json, where: str, graph: Graph) -> list[Complaint]:
    subject = resource.get("subject")
    if not isinstance(subject, dict):
        return [Complaint(ORACLE, where, "no subject")]
    reference = str(subject.get("reference", ""))
    target = graph.resolve(reference)
    if target is not None:
        good = target.get("resourceType") == "Patient"
    elif reference:
        good = reference.startswith("Patient") or "/Patient/" in reference
    else:
        good = "identifier" in subject and subject.get("type", "Patient") == "Patient"
    return [] if good else [Complaint(ORACLE, where, "the subject is not a Patient")]
