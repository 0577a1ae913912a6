"""The exam as a transaction: ready to be posted to another FHIR R4 server.

Ids and server meta (versionId, lastUpdated) are taken off. They are ours, not the receiver's: on
create the receiver must ignore them (FHIR R4 http 3.1.0.8), and a conditional update finds its
resource by the criteria alone (3.1.0.4.3), where a body with another id is an error for many.
Profiles stay: they say what the resource claims, not who stored it.
"""

from __future__ import annotations

import re
from urllib.parse import quote

import orjson

from brachium.formats.head import parts
from brachium.formats.outgoing import SHARED_TYPES, Outgoing, References, framed, opening
from brachium.formats.references import Target, repointed
from brachium.records import StoredResource


def transaction(outgoing: Outgoing) -> bytes:
    """Return a bundle of type transaction for one exam version.

    A resource in its first version is created unless the receiver has its identifier already; a
    later version updates by identifier (COR-05). Patient, examiner and facility are never updated.
    Of the Provenances only that of this exam version goes along: it cannot be created
    conditionally, having no identifier, and earlier ones went with their own versions.
    """
    rows = [row for row in outgoing.rows if _belongs(row, outgoing)]
    pointers = _Pointers(outgoing, rows)
    return framed(outgoing, "transaction", (_entry(row, pointers) for row in rows))


def _belongs(row: StoredResource, outgoing: Outgoing) -> bool:
    if row.type in SHARED_TYPES:
        return outgoing.references is References.ENTRY
    return row.type != "Provenance" or row.updated == outgoing.exam.recorded


def _entry(row: StoredResource, pointers: _Pointers) -> tuple[bytes, ...]:
    resource = repointed(portable(row), pointers.member)
    request = orjson.dumps(_request(row))
    return opening(f"urn:uuid:{row.id}"), resource, b',"request":', request, b"}"


def portable(row: StoredResource) -> bytes:
    """Return the row's text without id and server meta; the rest is untouched.

    Raises ``ValueError`` when the text does not begin as this service writes it.
    """
    split = parts(row)
    meta = b',"meta":{"profile":[' + split.profile + b"]}" if split.profile else b""
    return b'{"resourceType":"' + row.type.encode() + b'"' + meta + split.tail


def _request(row: StoredResource) -> dict[str, str]:
    identity = identifier(row)
    if identity is None:
        return {"method": "POST", "url": row.type}
    criteria = f"identifier={search_token(*identity)}"
    if row.version == 1 or row.type in SHARED_TYPES:
        return {"method": "POST", "url": row.type, "ifNoneExist": criteria}
    return {"method": "PUT", "url": f"{row.type}?{criteria}"}


def identifier(row: StoredResource) -> tuple[str, str] | None:
    """Return system and value of the row's first business identifier, if it has one."""
    given = orjson.loads(row.text).get("identifier")
    first = given[0] if isinstance(given, list) else given
    return (first["system"], first["value"]) if first else None


def search_token(system: str, value: str) -> str:
    """Return ``system|value`` for a search URL.

    The separators of FHIR search are escaped in each part (R4 search 3.1.1.4.1), then everything
    is percent-encoded, or a ``&`` or ``#`` in an identifier would widen the search.
    """
    escaped = "|".join(re.sub(r"([\\,$|])", r"\\\1", part) for part in (system, value))
    return quote(escaped, safe="")


class _Pointers:
    """How references of one transaction are written."""

    def __init__(self, outgoing: Outgoing, rows: list[StoredResource]) -> None:
        self.base = outgoing.base
        self.inside = {(row.type, row.id): row.version for row in rows}
        self.policy = outgoing.references
        self.shared = {(row.type, row.id): row for row in outgoing.rows if row.type in SHARED_TYPES}

    def member(self, target: Target) -> bytes:
        """Return the JSON member (or members) that replaces a stored relative reference."""
        key = (target.type, target.id)
        if key in self.inside and target.version in (None, self.inside[key]):
            # FHIR R4 http 3.1.0.11.2: the receiver replaces this by the id it assigns
            return f'"reference":"urn:uuid:{target.id}"'.encode()
        if key in self.shared:
            return self._shared(self.shared[key], target)
        # an earlier version of something in the bundle: only our own address still means it
        return f'"reference":"{self.base}/{target.path}"'.encode()

    def _shared(self, row: StoredResource, target: Target) -> bytes:
        identity = identifier(row)
        if identity is None or self.policy is References.LITERAL:
            return f'"reference":"{self.base}/{target.path}"'.encode()
        if self.policy is References.CONDITIONAL:
            return f'"reference":"{row.type}?identifier={search_token(*identity)}"'.encode()
        system, value = identity
        logical = {"type": row.type, "identifier": {"system": system, "value": value}}
        return orjson.dumps(logical)[1:-1]
