"""Patient, Practitioner and Organization: by identifier, with no more than the exam states."""

from __future__ import annotations

from typing import Any

from brachium.coding.frame import Frame
from brachium.coding.jsontext import dump
from brachium.coding.vocabulary import Vocabulary
from brachium.exam.findings import Identifier
from brachium.records import Resource


def patient(vocabulary: Vocabulary, frame: Frame) -> Resource:
    """Return the Patient: identifier, gender, date of birth, dominant hand."""
    person = frame.exam.patient
    dominant = vocabulary.codings(f"dominant-{person.dominant_hand}")
    extension = {
        "url": vocabulary.urls.definition("dominant-hand"),
        "valueCodeableConcept": {"coding": dominant},
    }
    body = {
        "extension": [extension],
        "identifier": [_identifier(person.identifier)],
        "gender": person.sex,
        "birthDate": person.birth_date,
    }
    return _party(frame.patient, body)


def examiner(frame: Frame) -> Resource:
    """Return the Practitioner who examined."""
    return _party(frame.examiner, {"identifier": [_identifier(frame.exam.examiner.identifier)]})


def facility(frame: Frame) -> Resource:
    """Return the Organization where the patient was examined."""
    return _party(frame.facility, {"identifier": [_identifier(frame.exam.facility.identifier)]})


def _party(reference: str, body: dict[str, Any]) -> Resource:
    resource_type, resource_id = reference.split("/")
    return Resource(resource_type, resource_id, dump(body).encode())


def _identifier(by: Identifier) -> dict[str, str]:
    return {"system": by.system, "value": by.value}
