"""Prove that what the templates make has the shape of FHIR resources.

The only module that imports fhir.resources. Its R4B models equal R4 4.0.1 for the elements in use;
what they do not check (invariants, required bindings) is proved elsewhere. Importing the models
costs about a second, so it happens on use, never in the path of a request that stores or reads an
exam; only who asks for a judgement waits for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

import orjson
from pydantic import ValidationError

from brachium.assess.assessment import assess
from brachium.coding.encode import encode
from brachium.coding.options import CodingOptions, Stamp
from brachium.coding.provenance import provenance
from brachium.coding.sample import sample
from brachium.exam.leaves import leaves
from brachium.records import Resource
from brachium.tables.load import Tables

_STAMP = Stamp(recorded="2000-01-01T00:00:00Z")
_DIGEST = "0" * 64


def prove(tables: Tables, options: CodingOptions) -> list[str]:
    """Code every concept of the tables and return what is wrong with the shape of the results.

    An empty list means that every template passed. A concept that cannot be coded at all is a
    fault too: its ``KeyError`` becomes a line.
    """
    try:
        resources = _coded(tables, options)
    except KeyError as error:
        return [f"the tables lack {error}"]
    return faults(resources)


def faults(resources: Iterable[Resource]) -> list[str]:
    """Return what the models say about the resources, with the type and id of each."""
    models = _models()
    found = []
    for resource in resources:
        text = resource.text(resource.version or 1, _STAMP.recorded)
        try:
            models[resource.type].model_validate_json(text)
        except ValueError as error:
            found.append(f"{resource.type}/{resource.id}: {error}")
            continue
        found += [f"{resource.type}/{resource.id}: {fault}" for fault in _not_r4(text)]
    return found


def objections(name: str, text: bytes) -> list[str]:
    """Return the FHIRPath places of a resource that the models refuse; their words stay here.

    Empty for a type that the models are not asked about.
    """
    model = _models().get(name)
    if model is None:
        return []
    try:
        model.model_validate_json(text)
    except ValidationError as error:
        return list(dict.fromkeys(_place(name, fault["loc"]) for fault in error.errors()))
    except ValueError:
        return [name]
    return []


def _place(name: str, location: Iterable[int | str]) -> str:
    path = name
    for part in location:
        path += f"[{part}]" if isinstance(part, int) else f".{part}"
    return path


def _coded(tables: Tables, options: CodingOptions) -> tuple[Resource, ...]:
    exam = sample(tables)
    found = leaves(exam, tables)
    coded = encode(exam, found, assess(exam, found, tables), tables, options, _STAMP)
    record = provenance(exam, coded.resources, tables, options, _STAMP, _DIGEST)
    return (*coded.resources, record)


@cache
def _models() -> dict[str, Any]:
    from fhir.resources.R4B.bundle import Bundle
    from fhir.resources.R4B.composition import Composition
    from fhir.resources.R4B.diagnosticreport import DiagnosticReport
    from fhir.resources.R4B.observation import Observation
    from fhir.resources.R4B.organization import Organization
    from fhir.resources.R4B.patient import Patient
    from fhir.resources.R4B.practitioner import Practitioner
    from fhir.resources.R4B.provenance import Provenance
    from fhir.resources.R4B.questionnaireresponse import QuestionnaireResponse

    exam = (DiagnosticReport, Observation, Organization, Patient, Practitioner, Provenance)
    known = (*exam, Bundle, Composition, QuestionnaireResponse)
    return {model.__name__: model for model in known}


def _not_r4(text: bytes) -> list[str]:
    """Return what R4B allows and R4 does not: its subjects are patients here, and only those."""
    subject = orjson.loads(text).get("subject")
    if subject is None or subject["reference"].startswith("Patient/"):
        return []
    return ["the subject is not a patient"]
