"""Exams as filled-in forms, ready to be posted."""

from __future__ import annotations

import json
from typing import Any

import jiter
from tests.api.serving import BASE, FHIR_JSON, ROOT, Serving

from brachium.coding.response_writing import write_response
from brachium.exam.findings import Exam
from brachium.settings import Settings
from brachium.tables.load import load

PATH = "/fhir/QuestionnaireResponse"
CANONICAL = Settings().canonical
REASON_URL = f"{CANONICAL}/StructureDefinition/change-reason"
REASON = "Read from the wrong scale."
NAME = "recovering-shoulder-1"
SYSTEM = "https://saltmarsh.example.org/fid/exam"


def form(name: str = NAME, value: str = "", **changed: Any) -> Any:
    """The form of an example, under another identifier if one is given."""
    raw = (ROOT / "examples" / f"{name}.json").read_bytes()
    exam = jiter.from_json(raw, float_mode="decimal") | changed
    if value:
        exam["identifier"] = {"system": SYSTEM, "value": value}
    return json.loads(write_response(Exam.model_validate(exam), load(), CANONICAL))


def with_reason(resource: Any, reason: str = REASON) -> Any:
    """The form with the reason of a change."""
    extensions = resource.get("extension", [])
    return {**resource, "extension": [*extensions, {"url": REASON_URL, "valueString": reason}]}


def create(service: Serving, resource: Any, **headers: str):
    return service.post(PATH, resource, Content_Type=FHIR_JSON, **headers)


def update(service: Serving, resource: Any, version: int | None = None, **headers: str):
    if version is not None:
        headers["If_Match"] = f'W/"{version}"'
    return service.put(f"{PATH}/{resource['id']}", resource, Content_Type=FHIR_JSON, **headers)


def read(service: Serving, resource: Any) -> Any:
    return service.get(f"{PATH}/{resource['id']}").json()


def angles(value: Any) -> list[Any]:
    """Every quantity answered in degrees, to be changed in place."""
    if isinstance(value, list):
        return [found for one in value for found in angles(one)]
    if not isinstance(value, dict):
        return []
    own = [value["valueQuantity"]] if value.get("valueQuantity", {}).get("code") == "deg" else []
    return own + [found for one in value.values() for found in angles(one)]


__all__ = ["BASE"]
