"""What every bundle writer is given, and the frame around every bundle."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import orjson

from brachium.records import ExamVersion, StoredResource

# What other systems master themselves: the person, the staff, the house. An exam is delivered to
# them, and must never overwrite what they know about these.
SHARED_TYPES = frozenset({"Patient", "Practitioner", "Organization"})


class References(StrEnum):
    """How a transaction points at patient, examiner and facility (TXN-10)."""

    ENTRY = "entry"
    LITERAL = "literal"
    CONDITIONAL = "conditional"
    IDENTIFIER = "identifier"


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One exam version on its way out.

    ``rows`` are its resources in the order they go out; ``base`` is the public address of the FHIR
    interface, without a slash at the end; ``variant`` names an output policy other than the
    default, so that two different bundles never share an identifier; ``composition`` is needed for
    a document only.
    """

    exam: ExamVersion
    rows: tuple[StoredResource, ...]
    base: str
    variant: str = ""
    references: References = References.ENTRY
    composition: StoredResource | None = None

    def full_url(self, row: StoredResource) -> str:
        """Return the absolute, unversioned address of a row (FHIR R4 bundle 2.36.4, bdl-8)."""
        return f"{self.base}/{row.type}/{row.id}"


def bundle_name(outgoing: Outgoing, kind: str) -> str:
    """Return the urn:uuid of a bundle: the same exam version and kind has the same name."""
    exam = outgoing.exam
    name = f"{exam.system}|{exam.value}|{exam.version}|{kind}|{outgoing.variant}"
    return f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, name)}"


def framed(outgoing: Outgoing, kind: str, entries: Iterable[tuple[bytes, ...]]) -> bytes:
    """Return the bundle of ``kind`` around finished entries, each given in pieces.

    Bundle.identifier and timestamp as FHIR R4 bdl-9 and bdl-10 ask of a document; the timestamp is
    the time of the exam version, so that the same version gives the same bytes at any time. The
    pieces are joined once: copying half a megabyte per step would be most of the work.
    """
    head = {
        "resourceType": "Bundle",
        "identifier": {"system": "urn:ietf:rfc:3986", "value": bundle_name(outgoing, kind)},
        "type": kind,
        "timestamp": outgoing.exam.recorded,
    }
    pieces = [orjson.dumps(head)[:-1]]
    separator = b',"entry":['
    for entry in entries:
        pieces.append(separator)
        pieces.extend(entry)
        separator = b","
    pieces.append(b"]}")
    return b"".join(pieces)


def opening(full_url: str) -> bytes:
    """Return the beginning of an entry, up to its resource."""
    return f'{{"fullUrl":"{full_url}","resource":'.encode()
