"""The codings of an exam as a table: what was said in which code, and where (TRM-06)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass, fields

import orjson

from brachium.formats import lossless
from brachium.formats.lossless import Json
from brachium.records import StoredResource


@dataclass(frozen=True, slots=True)
class Place:
    """One coding in one resource.

    ``resource`` is ``Type/id/_history/version``; ``path`` the FHIRPath of the coding within it.
    """

    resource: str
    path: str
    system: str
    code: str
    display: str


@dataclass(frozen=True, slots=True)
class CodingRow:
    """A coding, where it stands, and what the tables say about it.

    ``verified`` is yes, no, or empty when the tables now loaded do not know the code; ``edition``
    names the tables that coded the exam; ``source`` where the code was seen.
    """

    resource: str
    path: str
    system: str
    code: str
    display: str
    verified: str
    edition: str
    source: str


HEADER = tuple(field.name for field in fields(CodingRow))


def places(row: StoredResource) -> Iterator[Place]:
    """Yield every coding of a row, in the order of its text.

    A Quantity has system and code too, and its unit is as much coded as anything.
    """
    name = f"{row.type}/{row.id}/_history/{row.version}"
    for path, coding in _walk(lossless.parse(row.text), row.type):
        yield Place(name, path, coding["system"], coding["code"], coding.get("display", ""))


def _walk(value: Json, path: str) -> Iterator[tuple[str, Json]]:
    if isinstance(value, dict):
        if isinstance(value.get("system"), str) and isinstance(value.get("code"), str):
            yield path, value
        for name, item in value.items():
            yield from _walk(item, f"{path}.{name}")
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _walk(item, f"{path}[{index}]")


def as_csv(rows: Iterable[CodingRow]) -> bytes:
    """Return the rows as CSV with a header line (RFC 4180, UTF-8)."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(HEADER)
    writer.writerows(astuple(row) for row in rows)
    return text.getvalue().encode()


def as_json(rows: Iterable[CodingRow]) -> bytes:
    """Return the rows as a JSON array of objects."""
    return orjson.dumps([dict(zip(HEADER, astuple(row), strict=True)) for row in rows])
