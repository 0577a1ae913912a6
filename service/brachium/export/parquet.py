"""Parquet of a flat table, made of its CSV: what is in one is in the other.

The only place that knows duckdb, which is imported when the first table is asked for. It reads the
CSV from a file of known columns, so nothing is guessed, and decimals never become binary floats.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from brachium.flat.views import Column

# half a million rows then stay within 140 MB, of which half is the library
_MEMORY, _ROWS_TOGETHER = "96MB", 20_480
# 12 digits before the point and 12 after hold every number that an exam may have
_TYPES = {"decimal": "DECIMAL(24, 12)", "integer": "BIGINT", "boolean": "BOOLEAN"}


def to_parquet(columns: Iterable[Column], source: Path, target: Path) -> None:
    """Write the CSV in ``source`` to ``target`` as Parquet.

    Dates and times stay text, because they keep their offset and their precision there; several
    values in one cell are text with spaces between them, as in the CSV.
    """
    import duckdb

    types = {
        column.name: "VARCHAR" if column.collection else _TYPES.get(column.type, "VARCHAR")
        for column in columns
    }
    database = duckdb.connect(":memory:", config={"threads": 1, "memory_limit": _MEMORY})
    try:
        table = database.read_csv(
            str(source),
            header=True,
            columns=types,
            delimiter=",",
            quotechar='"',
            escapechar='"',
            na_values="",
            encoding="utf-8",
        )
        table.write_parquet(str(target), compression="zstd", row_group_size=_ROWS_TOGETHER)
    finally:
        database.close()
