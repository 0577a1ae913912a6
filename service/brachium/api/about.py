"""Whom and what an answer is about, read in the answer (matrix AUD-03)."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

import orjson

from brachium.coding.identity import Ids, party_id
from brachium.exam.findings import Identifier

if TYPE_CHECKING:
    from brachium.store.port import Store

_PATIENT = re.compile(rb'"(Patient/[A-Za-z0-9.-]{1,64})["/]')
_ITSELF = re.compile(rb'^\{"resourceType":"([A-Za-z]{1,64})","id":"([A-Za-z0-9.-]{1,64})"')
_VERSION = re.compile(rb'^\{"resourceType":"[A-Za-z]+","id":"[^"]+","meta":\{"versionId":"(\d+)"')
_EXAM = re.compile(r"/exams/([A-Za-z0-9.-]{1,64})(?:/.*)?")


class About(NamedTuple):
    """References to the patients and to the resource that an answer shows."""

    patients: tuple[str, ...] = ()
    data: tuple[str, ...] = ()


def about_answer(body: bytes) -> About:
    """Return whom a FHIR answer names, and which version of which resource it is."""
    patients = {one.decode() for one in _PATIENT.findall(body)}
    itself = _ITSELF.match(body)
    if itself is None or itself[1] == b"Bundle":
        return About(tuple(sorted(patients)))
    reference = f"{itself[1].decode()}/{itself[2].decode()}"
    if itself[1] == b"Patient":
        patients.add(reference)
    version = _VERSION.match(body)
    versioned = f"{reference}/_history/{version[1].decode()}" if version else reference
    return About(tuple(sorted(patients)), (versioned,))


def exam_in(path: str) -> str:
    """Return the id of the exam that an address of ours names, or nothing."""
    found = _EXAM.fullmatch(path)
    return found[1] if found else ""


def about_exam(store: Store, exam_id: str) -> About:
    """Return the patient and the report of a stored exam."""
    stored = store.exam(exam_id)
    if stored is None:
        return About()
    by = orjson.loads(stored.content)["patient"]["identifier"]
    patient = party_id("Patient", Identifier(system=by["system"], value=by["value"]))
    return About(
        (f"Patient/{patient}",), (f"DiagnosticReport/{Ids(exam_id).of('DiagnosticReport')}",)
    )
