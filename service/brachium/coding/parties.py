"""Patient, Practitioner and Organization: by identifier, with no more than the exam states."""

from __future__ import annotations

from typing import Any

from brachium.coding.fhir import GENDER
from brachium.coding.frame import Frame
from brachium.coding.jsontext import dump
from brachium.coding.vocabulary import Vocabulary
from brachium.exam.findings import Identifier
from brachium.records import Resource, SearchValue


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
    search = (
        SearchValue("gender", f"{GENDER}|{person.sex}"),
        SearchValue("birthdate", person.birth_date),
    )
    return _party(frame.patient, person.identifier, body, search)


def examiner(frame: Frame) -> Resource:
    """Return the Practitioner who examined."""
    by = frame.exam.examiner.identifier
    return _party(frame.examiner, by, {"identifier": [_identifier(by)]})


def facility(frame: Frame) -> Resource:
    """Return the Organization where the patient was examined."""
    by = frame.exam.facility.identifier
    return _party(frame.facility, by, {"identifier": [_identifier(by)]})


def _party(
    reference: str,
    by: Identifier,
    body: dict[str, Any],
    search: tuple[SearchValue, ...] = (),
) -> Resource:
    resource_type, resource_id = reference.split("/")
    rows = (SearchValue("identifier", f"{by.system}|{by.value}"), *search)
    return Resource(resource_type, resource_id, dump(body).encode(), search=rows)


def _identifier(by: Identifier) -> dict[str, str]:
    return {"system": by.system, "value": by.value}
