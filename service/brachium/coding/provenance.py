"""Provenance of one exam version: who found, what assembled, from which payload (PRV-01..03)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import orjson

from brachium.coding.encode import vocabulary_of
from brachium.coding.fhir import DATA_OPERATION, PARTICIPANT_TYPE
from brachium.coding.frame import Frame
from brachium.coding.jsontext import dump
from brachium.coding.options import CodingOptions, Stamp
from brachium.coding.vocabulary import Vocabulary
from brachium.exam.findings import Exam
from brachium.records import Resource
from brachium.tables.load import Tables

_FORM = "QuestionnaireResponse"


def provenance(
    exam: Exam,
    resources: Iterable[Resource],
    tables: Tables,
    options: CodingOptions,
    stamp: Stamp,
    payload: str,
) -> Resource:
    """Return the Provenance of an exam version (FHIR R4 Provenance 6.3.4.2, 6.3.4.5).

    ``resources`` are those of the version; shared ones (without a version), the form that the exam
    came in as and, when ``stamp.changed`` is given, ids not in it are no targets. ``payload`` is
    the SHA-256 of the canonical exam in hex.
    """
    frame, vocabulary = Frame(exam, stamp), vocabulary_of(tables, options)
    own = [
        resource
        for resource in resources
        if resource.version is not None and (stamp.changed is None or resource.id in stamp.changed)
    ]
    targets = [resource for resource in own if resource.type != _FORM]
    forms = [_reference(one, frame.version(one.id)) for one in own if one.type == _FORM]
    found: dict[str, Any] = {
        "target": _references(targets, frame),
        "occurredDateTime": exam.effective,
        "recorded": stamp.recorded,
        "activity": {"coding": [vocabulary.standard(DATA_OPERATION, stamp.activity.upper())]},
        "agent": [_author(vocabulary, frame), _assembler(vocabulary)],
        "entity": [_source(vocabulary, payload, forms), *_revised(targets, frame)],
    }
    if stamp.reason:
        found["reason"] = [{"text": stamp.reason}]
    resource_id = frame.ids.of(f"Provenance/{stamp.version}")
    return Resource(
        type="Provenance",
        id=resource_id,
        body=dump(found).encode(),
        version=1,
    )


def _reference(resource: Resource, version: int) -> dict[str, str]:
    return {"reference": f"{resource.type}/{resource.id}/_history/{version}"}


def _references(targets: Iterable[Resource], frame: Frame) -> orjson.Fragment:
    """Return the references as JSON text: type and id need no escaping, and there are hundreds."""
    version = frame.version
    listed = ",".join(
        [f'{{"reference":"{one.type}/{one.id}/_history/{version(one.id)}"}}' for one in targets]
    )
    return orjson.Fragment(f"[{listed}]")


def _author(vocabulary: Vocabulary, frame: Frame) -> dict[str, Any]:
    return {
        "type": {"coding": [vocabulary.standard(PARTICIPANT_TYPE, "author")]},
        "who": {"reference": frame.examiner},
        "onBehalfOf": {"reference": frame.facility},
    }


def _assembler(vocabulary: Vocabulary) -> dict[str, Any]:
    tables, service = vocabulary.tables, vocabulary.options.service
    return {
        "type": {"coding": [vocabulary.standard(PARTICIPANT_TYPE, "assembler")]},
        "who": {
            "identifier": {"system": vocabulary.urls.service, "value": f"brachium/{service}"},
            "display": (
                f"brachium {service}, coding tables {tables.edition}, sha-256 {tables.digest}"
            ),
        },
    }


def _source(
    vocabulary: Vocabulary, payload: str, forms: Iterable[dict[str, str]]
) -> dict[str, Any]:
    """PRV-03: the digest of the exam, and the filled-in form if it came in as one."""
    return {
        "role": "source",
        "what": {
            **next(iter(forms), {}),
            "identifier": {"system": vocabulary.urls.payload, "value": payload},
            "display": "Exam as posted, canonical JSON, sha-256",
        },
    }


def _revised(targets: Iterable[Resource], frame: Frame) -> list[dict[str, Any]]:
    """COR-06: a changed resource points to the version before it."""
    return [
        {"role": "revision", "what": _reference(target, version - 1)}
        for target in targets
        if (version := frame.version(target.id)) > 1
    ]
