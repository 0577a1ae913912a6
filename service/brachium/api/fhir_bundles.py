"""Searchset and history bundles (FHIR R4 http 3.1.0.9, 3.1.0.12), spliced from stored text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import orjson

from brachium.records import StoredResource


def full_url(base: str, row: StoredResource) -> bytes:
    """Return the absolute, unversioned address of a resource (FHIR R4 bundle 2.36.4, bdl-8)."""
    return f"{base}/{row.type}/{row.id}".encode()


def bundle(
    kind: str, total: int | None, links: Mapping[str, str], entries: Iterable[bytes]
) -> bytes:
    """Return a bundle; ``total`` counts matches only, ``None`` leaves it out (matrix BND-03)."""
    head: dict[str, Any] = {"resourceType": "Bundle", "type": kind}
    if total is not None:
        head["total"] = total
    head["link"] = [{"relation": name, "url": url} for name, url in links.items()]
    filled = b",".join(entries)
    # an empty array is not allowed (FHIR R4 json 2.6.2.3)
    member = b',"entry":[' + filled + b"]" if filled else b""
    return orjson.dumps(head)[:-1] + member + b"}"


def found(base: str, row: StoredResource, mode: str, text: bytes | None = None) -> bytes:
    """Return an entry of a searchset; ``text`` stands in for that of the row."""
    return (
        b'{"fullUrl":"'
        + full_url(base, row)
        + b'","resource":'
        + (row.text if text is None else text)
        + b',"search":{"mode":"'
        + mode.encode()
        + b'"}}'
    )


def told(outcome: Mapping[str, Any]) -> bytes:
    """Return the entry of a searchset that holds an OperationOutcome."""
    return b'{"resource":' + orjson.dumps(outcome) + b',"search":{"mode":"outcome"}}'


def version(base: str, row: StoredResource) -> bytes:
    """Return an entry of a history: what made the version (FHIR R4 bdl-3, bdl-4)."""
    first = row.version == 1
    url = row.type if first else f"{row.type}/{row.id}"
    request = {"method": "POST" if first else "PUT", "url": url}
    response = {
        "status": "201 Created" if first else "200 OK",
        "etag": f'W/"{row.version}"',
        "lastModified": row.updated,
    }
    return (
        b'{"fullUrl":"'
        + full_url(base, row)
        + b'","resource":'
        + row.text
        + b',"request":'
        + orjson.dumps(request)
        + b',"response":'
        + orjson.dumps(response)
        + b"}"
    )
