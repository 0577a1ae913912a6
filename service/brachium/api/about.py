"""Whom and what a request and its answer are about (matrix AUD-03)."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple
from urllib.parse import parse_qsl

import orjson

from brachium.coding.identity import Ids, party_id
from brachium.exam.findings import Identifier

if TYPE_CHECKING:
    from brachium.records import Occasion
    from brachium.store.port import Store

_PATIENT = re.compile(rb'"(Patient/[A-Za-z0-9.-]{1,64})["/]')
_ITSELF = re.compile(rb'^\{"resourceType":"([A-Za-z]{1,64})","id":"([A-Za-z0-9.-]{1,64})"')
_VERSION = re.compile(rb'^\{"resourceType":"[A-Za-z]+","id":"[^"]+","meta":\{"versionId":"(\d+)"')
_ITEM = re.compile(
    r"/fhir/(?P<type>[A-Z][A-Za-z]{1,63})/(?P<id>[A-Za-z0-9.-]{1,64})"
    r"(?:/_history(?:/(?P<version>\d{1,9}))?)?"
)
_RECORD = re.compile(r"/(?:fhir/Patient|patients)/([A-Za-z0-9.-]{1,64})/")
_BY_PATIENT = frozenset({"patient", "subject", "patient:Patient", "subject:Patient"})
_ASKED = re.compile(r"(?:.*/)?(?:Patient/)?([A-Za-z0-9.-]{1,64})")
_EXAM = re.compile(r"/exams/([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})(?:/.*)?")


class About(NamedTuple):
    """References to the patients and to the resource that an answer shows."""

    patients: tuple[str, ...] = ()
    data: tuple[str, ...] = ()

    def with_asked(self, asked: About) -> About:
        """Return this with what was asked for, where the answer does not tell more exactly."""
        patients = tuple(dict.fromkeys((*self.patients, *asked.patients)))
        return About(patients, self.data or asked.data)


def about_request(occasion: Occasion) -> About:
    """Return whom and what somebody asked for, whether or not that is there.

    BALP tells the patient of a query that finds nothing, too (PatientQuery, 3:5.7.4.5).
    """
    patients: list[str] = []
    data: list[str] = []
    path = occasion.path
    item = _ITEM.fullmatch(path)
    if item is not None:
        kind, identity, version = item["type"], item["id"], item["version"]
        reference = f"{kind}/{identity}"
        (patients if kind == "Patient" else data).append(reference)
        if version and kind != "Patient":
            data = [f"{reference}/_history/{version}"]
    elif named := _RECORD.match(path):
        patients.append(f"Patient/{named[1]}")
    if exam := exam_in(path):
        data.append(f"DiagnosticReport/{Ids(exam).of('DiagnosticReport')}")
    for name, value in (*parse_qsl(occasion.query), *parse_qsl(occasion.form)):
        if name in _BY_PATIENT and (asked := _ASKED.fullmatch(value)):
            patients.append(f"Patient/{asked[1]}")
    return About(tuple(dict.fromkeys(patients)), tuple(data))


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
