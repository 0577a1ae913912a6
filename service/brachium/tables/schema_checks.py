"""Holds every table file against its JSON Schema (2020-12) in mappings/schemas/."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from brachium.tables.source import TABLES

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from brachium.tables.gather import Draft


def faults(draft: Draft, schemas: Path) -> Iterator[str]:
    """Yield what the schemas find: each describes one row as an object of text cells."""
    from jsonschema import Draft202012Validator

    for table in TABLES:
        file = schemas / f"{table.name}.schema.json"
        if not file.is_file():
            yield f"schemas/{file.name}: missing"
            continue
        schema: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
        Draft202012Validator.check_schema(schema)
        validator = Draft202012Validator(schema)
        for one in draft.reads[table.name]:
            for error in validator.iter_errors(one.cells):
                column = error.path[0] if error.path else "row"
                yield f"{one.place}: {column}: {error.message}"
