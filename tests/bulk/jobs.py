"""Exports of a service under test, carried out when a test says so."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from typing import Any

import httpx
from tests.api.serving import Serving, inside

from brachium.api.app import searching_of
from brachium.api.bulk_routes import exporting
from brachium.api.service import Service
from brachium.api.whose import whose
from brachium.api.work import Work
from brachium.bulk import Bulk
from brachium.bulk.carrying import Sizes

LENIENT = "respond-async, handling=lenient"


class Exports:
    """The exports of a service; ``sizes`` are those of their files."""

    def __init__(self, serving: Serving, sizes: Sizes | None = None, **headers: str) -> None:
        self.serving = serving
        self.headers = {"Prefer": "respond-async", **headers}
        work = Work()
        parts = serving.parts.isolated(whose)
        bulk = exporting(parts, searching_of(Service(parts, work)))
        work.close()
        self.bulk: Bulk = replace(bulk, tools=replace(bulk.tools, sizes=sizes or Sizes()))

    def ask(self, path: str, method: str = "GET", **options: Any) -> httpx.Response:
        """One request with the headers of this client."""
        headers = {**self.headers, **options.pop("headers", {})}
        return self.serving.ask(method, path, headers=headers, **options)

    def begun(self, path: str = "/fhir/$export", **options: Any) -> str:
        """Begin an export and return where to ask for it."""
        answer = self.ask(path, **options)
        assert answer.status_code == 202, answer.text
        return inside(answer.headers["content-location"])

    def posted(self, path: str, *parameters: dict[str, Any], **headers: str) -> httpx.Response:
        """Ask for an export by a Parameters resource."""
        body = {"resourceType": "Parameters", "parameter": list(parameters)}
        headers["Content-Type"] = "application/fhir+json"
        return self.ask(path, "POST", content=json.dumps(body).encode(), headers=headers)

    def carried_out(self) -> None:
        """Carry every job out."""
        while self.bulk.work():
            pass

    def manifest(self, place: str) -> dict[str, Any]:
        """The manifest of an export that is done."""
        answer = self.ask(place)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def done(self, path: str = "/fhir/$export", **options: Any) -> dict[str, Any]:
        """Begin an export, carry it out, return its manifest."""
        place = self.begun(path, **options)
        self.carried_out()
        return self.manifest(place)

    def lines(self, manifest: dict[str, Any], kind: str = "output") -> list[dict[str, Any]]:
        """Every resource in the files of a manifest, each checked against its item."""
        found = []
        for item in manifest[kind]:
            answer = self.ask(inside(item["url"]))
            assert answer.status_code == 200, answer.text
            assert answer.headers["content-type"] == "application/fhir+ndjson"
            assert answer.content.endswith(b"\n")
            resources = [json.loads(one) for one in answer.content.decode().splitlines()]
            assert {one["resourceType"] for one in resources} == {item["type"]}
            assert len(resources) == item["count"] > 0
            found += resources
        return found

    def exported(self, path: str = "/fhir/$export", **options: Any) -> list[dict[str, Any]]:
        """Every resource that an export holds."""
        return self.lines(self.done(path, **options))


def stored(serving: Serving) -> dict[tuple[str, str], dict[str, Any]]:
    """The newest version of everything in the database, by type and id."""
    rows = serving.parts.store.history(None).rows
    return {(row.type, row.id): json.loads(row.text) for row in reversed(rows)}


def named(resources: list[dict[str, Any]]) -> dict[tuple[str, str], dict[str, Any]]:
    """Resources by type and id; none may come twice."""
    found = {(one["resourceType"], one["id"]): one for one in resources}
    assert len(found) == len(resources), Counter((r["resourceType"], r["id"]) for r in resources)
    return found


def types(resources: list[dict[str, Any]]) -> set[str]:
    return {one["resourceType"] for one in resources}


def post(serving: Serving, exam: dict[str, Any] | bytes, **headers: str) -> dict[str, Any]:
    """Store an exam and return its receipt."""
    content = exam if isinstance(exam, bytes) else json.dumps(exam).encode()
    given = {"Content-Type": "application/json", **headers}
    answer = serving.ask("POST", "/exams", content=content, headers=given)
    assert answer.status_code == 201, answer.text
    return answer.json()


def withdraw(serving: Serving, receipt: dict[str, Any], **headers: str) -> None:
    """Withdraw an exam that was just stored."""
    given = {"Content-Type": "application/json", "If-Match": 'W/"1"', **headers}
    path = f"/exams/{receipt['id']}/withdrawal"
    answer = serving.ask("POST", path, content=b'{"reason":"wrong person"}', headers=given)
    assert answer.status_code == 200, answer.text
