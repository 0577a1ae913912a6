"""The one reader of table files: CSV text into frozen rows, every bad cell a fault with its line.

A file is UTF-8 with LF line ends. Lines that open with ``#`` before the header describe the table.
Cells are typed by the annotations of the row type; see :mod:`brachium.tables.rows`.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass, fields
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import TYPE_CHECKING, Any, get_type_hints

if TYPE_CHECKING:
    from pathlib import Path

    from brachium.tables.source import Table

# what the opening lines of every table must say about it
HEADINGS = ("edition", "date", "licence", "reviewer", "source")


@dataclass(frozen=True, slots=True)
class Read:
    """One typed row, with the place it came from (``file:line``) and its cells as text."""

    row: Any
    place: str
    cells: dict[str, str]


def _integer(text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise ValueError(text)
    return int(text)


def _decimal(text: str) -> Decimal:
    if not text.isascii() or "e" in text.lower() or text != text.strip():
        raise ValueError(text)
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise ValueError(text) from None
    if not value.is_finite():
        raise ValueError(text)
    return value


def _boolean(text: str) -> bool:
    return {"true": True, "false": False}[text]


def _text(text: str) -> str:
    if text != text.strip():
        raise ValueError(text)
    return text


def _words(text: str) -> tuple[str, ...]:
    words = tuple(text.split(" ")) if text else ()
    if "" in words or len(set(words)) < len(words):
        raise ValueError(text)
    return words


def _or_none(read: Callable[[str], Any]) -> Callable[[str], Any]:
    return lambda text: read(text) if text else None


READERS: dict[Any, tuple[Callable[[str], Any], str]] = {
    str: (_text, "text without spaces around it"),
    int: (_integer, "a whole number"),
    int | None: (_or_none(_integer), "a whole number or nothing"),
    Decimal: (_decimal, "a plain decimal number"),
    Decimal | None: (_or_none(_decimal), "a plain decimal number or nothing"),
    bool: (_boolean, "true or false"),
    tuple[str, ...]: (_words, "different words with one space between them"),
}


@cache
def columns(row: type) -> dict[str, tuple[Callable[[str], Any], str]]:
    """Return, for each column of a row type, its cell reader and what it expects in words."""
    hints = get_type_hints(row)
    return {field.name: READERS[hints[field.name]] for field in fields(row)}


def read(table: Table, directory: Path, faults: list[str]) -> list[Read]:
    """Read one table file; what cannot be read is added to ``faults`` and left out."""
    file = directory / table.path
    try:
        text = file.read_bytes().decode("utf-8")
    except UnicodeDecodeError:
        faults.append(f"{table.path}: not UTF-8")
        return []
    if "\r" in text or not text.endswith("\n"):
        faults.append(f"{table.path}: every line must end with LF alone")
    lines = text.splitlines()
    head = next((n for n, line in enumerate(lines) if not line.startswith("#")), len(lines))
    faults.extend(_head_faults(table, lines[:head]))
    return _rows(table, lines, head, faults)


def _head_faults(table: Table, head: list[str]) -> list[str]:
    said = {line[1:].split(":", 1)[0].strip() for line in head if ":" in line}
    return [
        f"{table.path}: no opening line '# {word}: ...'" for word in HEADINGS if word not in said
    ]


def _rows(table: Table, lines: list[str], head: int, faults: list[str]) -> list[Read]:
    reader = csv.reader(lines[head:], strict=True)
    wanted = list(columns(table.row))
    header = next(reader, [])
    if header != wanted:
        faults.append(f"{table.path}:{head + 1}: header is {header}, expected {wanted}")
        return []
    found = []
    for cells in reader:
        place = f"{table.path}:{head + reader.line_num}"
        if len(cells) != len(wanted):
            faults.append(f"{place}: {len(cells)} cells, expected {len(wanted)}")
            continue
        row = _row(table, dict(zip(wanted, cells, strict=True)), place, faults)
        if row is not None:
            found.append(row)
    return found


def _row(table: Table, cells: dict[str, str], place: str, faults: list[str]) -> Read | None:
    values: dict[str, Any] = {}
    for name, (convert, expected) in columns(table.row).items():
        try:
            values[name] = convert(cells[name])
        except (ValueError, KeyError):
            faults.append(f"{place}: {name} is {cells[name]!r}, expected {expected}")
    if len(values) < len(cells):
        return None
    return Read(table.row(**values), place, cells)
