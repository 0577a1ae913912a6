"""The routes of the flat tables with what the OpenAPI document says about them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.api import faults
from brachium.api.described import answer
from brachium.api.described import faults as failing
from brachium.api.media import CSV
from brachium.api.routes import Table
from brachium.export.written import FORMATS

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.tables import TablePages

_TEXT = {"schema": {"type": "string"}}
_BYTES = {"schema": {"type": "string", "contentMediaType": "application/octet-stream"}}


def add_tables(app: FastAPI, pages: TablePages) -> None:
    """Add the operations that hand flat tables out."""
    table = Table(app, "Exams out")
    reading = failing(
        faults.BadParameter,
        faults.NotAcceptable,
        faults.Unavailable,
        faults.TooLarge,
        faults.Unforeseen,
    )
    listed = answer("FlatTables", "Every table with its columns and its ViewDefinition.")
    table.add("GET", "/views", pages.listed, "List the flat tables", {200: listed, **reading})
    found: dict[str, Any] = {
        "description": "The rows.",
        "content": {
            one.media_type.partition(";")[0]: _BYTES if name == "parquet" else _TEXT
            for name, one in FORMATS.items()
        },
    }
    missing = failing(faults.NotFound)
    table.add(
        "GET", "/views/{name}", pages.table, "Get a flat table", {200: found, **reading, **missing}
    )
    rows = {"description": "The rows.", "content": {CSV: _TEXT}}
    table.add("GET", "/exams.csv", pages.exams, "Get all findings", {200: rows, **reading})
