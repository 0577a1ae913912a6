"""Rows of a flat table as CSV, NDJSON or Parquet, piece by piece. A new format is a row here."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeAlias

import jiter

from brachium.export.parquet import to_parquet
from brachium.flat.views import Column
from brachium.formats import lossless

Columns: TypeAlias = Iterable[Column]
Rows: TypeAlias = Iterable[tuple[Any, ...]]

# rows in one piece
_PIECE = 500
# bytes in one piece of a file
_BLOCK = 1 << 16


def as_csv(columns: Columns, rows: Rows) -> Iterator[bytes]:
    """Yield CSV with a header line (RFC 4180, UTF-8); numbers keep their digits.

    A cell without a value is empty, and several values have spaces between them.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(column.name for column in columns)
    for number, row in enumerate(rows, 1):
        writer.writerow([_cell(cell) for cell in row])
        if number % _PIECE == 0:
            yield _taken(text)
    yield _taken(text)


def as_ndjson(columns: Columns, rows: Rows) -> Iterator[bytes]:
    """Yield one JSON object a line; a column without a value is ``null``."""
    names = [column.name for column in columns]
    lines: list[bytes] = []
    for row in rows:
        lines.append(lossless.write(dict(zip(names, row, strict=True))) + b"\n")
        if len(lines) == _PIECE:
            yield b"".join(lines)
            lines.clear()
    yield b"".join(lines)


def as_parquet(columns: Columns, rows: Rows) -> Iterator[bytes]:
    """Yield a Parquet file; it is put together on the disk, in a folder that nobody else reads."""
    with TemporaryDirectory(prefix="brachium-") as folder:
        source, target = Path(folder, "table.csv"), Path(folder, "table.parquet")
        with source.open("wb") as file:
            file.writelines(as_csv(columns, rows))
        to_parquet(columns, source, target)
        with target.open("rb") as file:
            while piece := file.read(_BLOCK):
                yield piece


@dataclass(frozen=True, slots=True)
class FlatFormat:
    """A form that a flat table can leave in: ``write`` yields its bytes."""

    media_type: str
    write: Callable[[Columns, Rows], Iterator[bytes]]


FORMATS: Mapping[str, FlatFormat] = {
    "csv": FlatFormat("text/csv; charset=utf-8; header=present", as_csv),
    "ndjson": FlatFormat("application/x-ndjson", as_ndjson),
    "parquet": FlatFormat("application/vnd.apache.parquet", as_parquet),
}


def _cell(cell: Any) -> Any:  # noqa: ANN401 - a text, number, truth, list or nothing
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, list):
        return " ".join(str(_cell(one)) for one in cell)
    return bytes(cell).decode() if isinstance(cell, jiter.LosslessFloat) else cell


def _taken(text: io.StringIO) -> bytes:
    found = text.getvalue().encode()
    text.seek(0)
    text.truncate()
    return found
