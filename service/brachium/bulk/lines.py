"""Resources as lines of NDJSON: one JSON object on each, ending in a line feed."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

import orjson

from brachium.problems import Listed, Severity

if TYPE_CHECKING:
    from brachium.problems import Problem
    from brachium.records import StoredResource

# the text of a resource of a type with only some of its members
Shape: TypeAlias = Callable[[bytes, str, tuple[str, ...]], bytes]
_UNREADABLE = Listed(
    "resource-unreadable",
    Severity.ERROR,
    "A stored resource cannot be read and is left out of the export.",
    "What is stored there is not the resource that belongs there.",
    "Have the database checked; everything else is in the export.",
    "Bulk Data Access 2.0, response: complete status, error",
)
LISTED = (_UNREADABLE,)


def line(row: StoredResource, elements: tuple[str, ...], shape: Shape) -> bytes | None:
    """Return a resource as one line; ``None`` for one that is not what it should be."""
    if not _is_sound(row):
        return None
    text = shape(row.text, row.type, elements) if elements else row.text
    # a line feed can only stand between the parts of JSON text, never within a string
    return text.replace(b"\n", b" ").replace(b"\r", b" ") + b"\n"


def _is_sound(row: StoredResource) -> bool:
    try:
        found = orjson.loads(row.text)
    except ValueError:
        return False
    return (
        isinstance(found, dict) and found.get("resourceType") == row.type and found["id"] == row.id
    )


def unreadable(row: StoredResource) -> Problem:
    """Return the problem of a resource that no line can be made of."""
    name = f"{row.type}/{row.id}"
    message = f"{name}, version {row.version}, cannot be read and is not in this export."
    return _UNREADABLE.problem("", message, "exception")
