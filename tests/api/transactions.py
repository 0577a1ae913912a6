"""Transactions of one service, ready to be posted to another."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import Any

from tests.api.serving import FHIR_JSON, Serving, example, raw_example

PLACE = re.compile(r"^[A-Za-z]+(\[\d+\])?(\.[A-Za-z]+(\[\d+\])?)*$|^http\.")


@cache
def _written(name: str, query: str, folder: str) -> bytes:
    with Serving(Path(folder) / f"{name}-{abs(hash(query))}.sqlite3") as sender:
        receipt = sender.post("/exams", raw_example(name)).json()
        return sender.get(f"/exams/{receipt['id']}/bundle?type=transaction{query}").content


def transaction(folder: Path, name: str = "recovering-shoulder-1", query: str = "") -> Any:
    """The transaction of an example, as another service hands it out."""
    return json.loads(_written(name, query, str(folder)))


def post(service: Serving, bundle: Any, **headers: str):
    """POST to the base, as FHIR clients do."""
    return service.post("/fhir", bundle, Content_Type=FHIR_JSON, **headers)


def statuses(answer) -> list[str]:
    """The status of every entry of an answer."""
    assert answer.status_code == 200, answer.text
    return [entry["response"]["status"] for entry in answer.json()["entry"]]


def issues(answer) -> list[dict[str, Any]]:
    """The issues of an OperationOutcome; every one of them has a place that may be told."""
    body = answer.json()
    assert body["resourceType"] == "OperationOutcome", answer.text
    for issue in body["issue"]:
        assert all(PLACE.match(place) for place in issue.get("expression", ())), issue
    return body["issue"]


def code(issue: dict[str, Any]) -> str:
    return issue["details"]["coding"][0]["code"]


def refusal(answer, status: int, name: str) -> list[str]:
    """The places of an answer that must be this refusal."""
    assert answer.status_code == status, answer.text
    found = issues(answer)
    assert name in {code(issue) for issue in found}, answer.text
    return [place for issue in found if code(issue) == name for place in issue["expression"]]


def index_of(bundle: Any, kind: str, key: str = "") -> int:
    """Where the first resource of a type stands whose identifier ends in ``key``."""
    return next(
        index
        for index, entry in enumerate(bundle["entry"])
        if (
            entry["resource"]["resourceType"] == kind
            and json.dumps(entry["resource"].get("identifier")).endswith(f'{key}"}}]') == bool(key)
        )
        or (entry["resource"]["resourceType"] == kind and not key)
    )


def resource(bundle: Any, kind: str, key: str = "") -> Any:
    return bundle["entry"][index_of(bundle, kind, key)]["resource"]


def held(service: Serving) -> dict[str, int]:
    """How many resources of each type are stored."""
    kinds = ("Observation", "DiagnosticReport", "Patient", "Practitioner", "Provenance")
    return {kind: service.get(f"/fhir/{kind}?_count=0").json()["total"] for kind in kinds}


__all__ = ["example", "raw_example"]
