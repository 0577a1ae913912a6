"""Transaction-response bundles (FHIR R4 http 3.1.0.11.2, bdl-4): one entry for each, in order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import orjson

from brachium.api.answers import outcome
from brachium.api.preferences import Return
from brachium.intake.receipt import Outcome
from brachium.intake.transaction import Transacted
from brachium.problems import Problem
from brachium.records import StoredResource

_NEW = {Outcome.CREATED, Outcome.CHANGED}


def location(base: str, row: StoredResource) -> str:
    """Return the address of a version of a resource."""
    return f"{base}/fhir/{row.type}/{row.id}/_history/{row.version}"


def is_new(row: StoredResource, outcome: Outcome, recorded: str) -> bool:
    """Tell whether a resource was created by what was just stored."""
    return outcome in _NEW and row.version == 1 and row.updated == recorded


def transaction_response(
    done: Transacted, base: str, canonical: str, asked: Return | None
) -> bytes:
    """Return the answer to a transaction that was stored, or was stored before (TXN-01, TXN-05).

    What there is to say about an entry goes with it, whatever was asked for.
    """
    receipt = done.receipt
    recorded = receipt.exam.recorded if receipt.exam else ""
    said = _by_entry(receipt.problems, done.place)
    entries = []
    for index, row in enumerate(done.rows):
        response: dict[str, Any] = {
            "status": "201 Created" if is_new(row, receipt.outcome, recorded) else "200 OK",
            "location": location(base, row),
            "etag": f'W/"{row.version}"',
            "lastModified": row.updated,
        }
        problems = said.get(index, [])
        if problems or asked is Return.OUTCOME:
            response["outcome"] = outcome(problems, canonical)
        entry: dict[str, Any] = {"fullUrl": f"{base}/fhir/{row.type}/{row.id}"}
        if asked is Return.REPRESENTATION:
            entry["resource"] = orjson.Fragment(row.text)
        entries.append({**entry, "response": response})
    return answer_bundle("transaction-response", entries)


def answer_bundle(kind: str, entries: Iterable[Mapping[str, Any]]) -> bytes:
    """Return a bundle of ``kind`` with finished entries."""
    return orjson.dumps({"resourceType": "Bundle", "type": kind, "entry": list(entries)})


def _by_entry(problems: Iterable[Problem], otherwise: str) -> dict[int, list[Problem]]:
    found: dict[int, list[Problem]] = {}
    for problem in problems:
        place = problem.place if problem.place.startswith("Bundle.entry[") else otherwise
        index = int(place.removeprefix("Bundle.entry[").partition("]")[0])
        found.setdefault(index, []).append(problem)
    return found
