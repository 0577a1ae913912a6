"""Small exam versions for the tests of the store, which knows no medicine."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path

from brachium.records import ExamStatus, ExamVersion, Resource, SearchValue
from brachium.store.criteria import Criterion, Is, Search
from brachium.store.sqlite import FoundBy, SqliteStore

SYSTEM = "https://clinic.example.org/exam"


def at(number: int) -> str:
    """A FHIR instant; a larger number is later."""
    return f"2026-03-02T{number // 3600:02}:{number // 60 % 60:02}:{number % 60:02}.000Z"


def marked(body: bytes, rows: list[tuple[str, str]]) -> bytes:
    """JSON object text with search values in it, for :func:`read`."""
    comma = b"," if len(body) > 2 else b""
    return body[:-1] + comma + b'"search":' + json.dumps(rows).encode() + b"}"


def read(resources):
    """The search values that are written in resources."""
    return [
        [SearchValue(*pair) for pair in json.loads(text).get("search", ())] for _, text in resources
    ]


def terms(entry):
    """What an entry of the audit is found by here."""
    yield SearchValue("action", f"a|{entry.action}")
    yield from (SearchValue("patient", one) for one in entry.patients)


def event(row):
    """An entry of the audit as a resource, as far as these tests need it."""
    return json.dumps({"number": row.number, "action": row.entry.action}).encode()


def wanted(kind: str, *pairs: tuple[str, str]) -> Search:
    """A search for values that are exactly so."""
    return Search(kind, tuple(Criterion((name,), (Is(value),)) for name, value in pairs))


def opened(database: Path) -> SqliteStore:
    """The store on a file, with indexes of what is written in the resources."""
    return SqliteStore(database, FoundBy(read, terms, event))


def own(exam: str, name: str, body: bytes = b'{"n":1}', version: int = 1, **search) -> Resource:
    """A resource of one exam; ``search`` holds more search values."""
    rows = [("identifier", f"{SYSTEM}|{exam}/{name}"), *search.items()]
    return Resource("Observation", f"{exam}-{name}", marked(body, rows), version, issued=True)


def patient(
    name: str = "p", body: bytes = b'{"born":1969}', version: int | None = None
) -> Resource:
    """A shared resource, whose version the store decides when none is given."""
    return Resource("Patient", name, marked(body, [("identifier", f"s|{name}")]), version)


def first(name: str = "EX-1", resources: tuple[Resource, ...] | None = None, **fields):
    """The first version of an exam; its content is different for each name."""
    content = fields.pop("content", f'{{"exam":"{name}"}}'.encode())
    found = (patient(), own(name, "a"), own(name, "b")) if resources is None else resources
    values = {
        "id": f"id-{name}",
        "system": SYSTEM,
        "value": name,
        "version": 1,
        "status": ExamStatus.FINAL,
        "recorded": at(0),
        "problems": b"[]",
        "edition": "2026.1",
        "assessment": b"{}",
    }
    digest = hashlib.sha256(content).hexdigest()
    return ExamVersion(content=content, digest=digest, resources=found, **(values | fields))


def following(before: ExamVersion, resources: tuple[Resource, ...] | None = None, **fields):
    """The version after another, with other content."""
    content = before.content + b" "
    values = {
        "version": before.version + 1,
        "status": ExamStatus.CORRECTED,
        "recorded": at(before.version),
        "content": content,
        "digest": hashlib.sha256(content).hexdigest(),
        "reason": "typing error",
        "resources": before.resources if resources is None else resources,
    }
    return replace(before, **(values | fields))


def large(name: str, number: int = 60) -> ExamVersion:
    """An exam with many resources of realistic size."""
    body = b'{"text":"' + b"x" * 1200 + b'"}'
    findings = tuple(own(name, str(n), body, code=f"c|{n}") for n in range(number))
    return first(name, (patient(f"p-{name}"), *findings))
