"""Searchset and history bundles (FHIR R4 http 3.1.0.9, 3.1.0.12), spliced from stored text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import orjson

from brachium.records import StoredResource


def full_url(base: str, row: StoredResource) -> bytes:
    """Return the absolute, unversioned address of a resource (FHIR R4 bundle 2.36.4, bdl-8)."""
    return f"{base}/fhir/{row.type}/{row.id}".encode()


def searchset(
    base: str,
    query: str,
    total: int,
    matches: Sequence[StoredResource],
    included: Sequence[StoredResource] = (),
    outcome: bytes | None = None,
    following: str | None = None,
) -> bytes:
    """Return a searchset; ``total`` counts matches only (matrix BND-03).

    ``query`` is the part of the self link after the base, without what was ignored; ``following``
    the same for the next page.
    """
    entries = [_found(base, row, b"match") for row in matches]
    entries += [_found(base, row, b"include") for row in included]
    if outcome:
        entries.append(b'{"resource":' + outcome + b',"search":{"mode":"outcome"}}')
    links = [{"relation": "self", "url": f"{base}/fhir/{query}"}]
    if following:
        links.append({"relation": "next", "url": f"{base}/fhir/{following}"})
    head = {"resourceType": "Bundle", "type": "searchset", "total": total, "link": links}
    return _bundle(head, entries)


def _found(base: str, row: StoredResource, mode: bytes) -> bytes:
    return (
        b'{"fullUrl":"'
        + full_url(base, row)
        + b'","resource":'
        + row.text
        + b',"search":{"mode":"'
        + mode
        + b'"}}'
    )


def history(base: str, rows: Sequence[StoredResource]) -> bytes:
    """Return the history of one resource, newest first (FHIR R4 bdl-3, bdl-4)."""
    newest_first = sorted(rows, key=lambda row: -row.version)
    address = f"{base}/fhir/{rows[0].type}/{rows[0].id}/_history"
    head = {
        "resourceType": "Bundle",
        "type": "history",
        "total": len(rows),
        "link": [{"relation": "self", "url": address}],
    }
    return _bundle(head, (_version(base, row) for row in newest_first))


def _version(base: str, row: StoredResource) -> bytes:
    first = row.version == 1
    request = {"method": "POST", "url": row.type} if first else _update(row)
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


def _update(row: StoredResource) -> dict[str, str]:
    return {"method": "PUT", "url": f"{row.type}/{row.id}"}


def _bundle(head: dict[str, object], entries: Iterable[bytes]) -> bytes:
    filled = b",".join(entries)
    # an empty array is not allowed (FHIR R4 json 2.6.2.3)
    member = b',"entry":[' + filled + b"]" if filled else b""
    return orjson.dumps(head)[:-1] + member + b"}"
