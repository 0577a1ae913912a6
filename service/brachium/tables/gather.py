"""Reads every table file into :class:`Tables`, as far as it goes, and keeps what did not.

Nothing here is trusted yet: :func:`brachium.tables.load.load` checks what was gathered.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from operator import attrgetter
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from brachium.tables import source
from brachium.tables.concepts import concepts
from brachium.tables.reader import Read, read
from brachium.tables.rows import Tables
from brachium.tables.source import TABLES

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from brachium.tables import rows
    from brachium.tables.source import Table

__all__ = ["Draft", "Tables", "gather", "order"]


@dataclass(frozen=True, slots=True)
class Draft:
    """What was read, before anybody trusts it: tables, rows by table with their places, faults."""

    tables: Tables
    reads: dict[str, list[Read]]
    faults: list[str]


def gather(directory: Path | None = None, overlay: Path | None = None) -> Draft:
    """Read every table of a directory and what an overlay adds; faults are listed, not raised."""
    root = directory or source.default_directory()
    faults: list[str] = []
    reads = {table.name: _read(table, root, overlay, faults) for table in TABLES}
    tables = _tables({name: [one.row for one in some] for name, some in reads.items()})
    edition = source.edition(root)
    if not edition:
        faults.append("EDITION: missing or empty")
    made = {concept.code: concept for concept in _concepts(tables, faults)}
    digest = source.digest(root, overlay)
    tables = replace(tables, edition=edition, digest=digest, concepts=MappingProxyType(made))
    return Draft(tables, reads, faults)


def order(table: Table) -> Callable[[Any], Any]:
    """Return the sort key of a table's rows."""
    return attrgetter(*table.sort)


def _read(table: Table, root: Path, overlay: Path | None, faults: list[str]) -> list[Read]:
    if not (root / table.path).is_file():
        faults.append(f"{table.path}: missing")
        return []
    found = _in_order(table, read(table, root, faults), faults)
    if overlay and (overlay / table.path).is_file():
        added: list[str] = []
        found += _in_order(table, read(table, overlay, added), added)
        faults.extend(f"overlay {fault}" for fault in added)
    return sorted(found, key=lambda one: order(table)(one.row))


def _in_order(table: Table, found: list[Read], faults: list[str]) -> list[Read]:
    keys = [order(table)(one.row) for one in found]
    faults.extend(
        f"{one.place}: not sorted by {' '.join(table.sort)}"
        for one, before, key in zip(found[1:], keys, keys[1:], strict=False)
        if key < before
    )
    return found


def _concepts(tables: Tables, faults: list[str]) -> list[rows.Concept]:
    try:
        return list(concepts(tables))
    except KeyError as missing:
        faults.append(f"concepts: {missing} is used, but in no table")
        return []


def _one(found: list[Any], *key: str) -> Mapping[Any, Any]:
    return MappingProxyType({attrgetter(*key)(row): row for row in found})


def _many(found: list[Any], *key: str) -> Mapping[Any, tuple[Any, ...]]:
    groups: dict[Any, list[Any]] = defaultdict(list)
    for row in found:
        groups[attrgetter(*key)(row)].append(row)
    return MappingProxyType({name: tuple(some) for name, some in groups.items()})


def _scales(grades: list[rows.Grade]) -> Mapping[str, Mapping[str, rows.Grade]]:
    return MappingProxyType(
        {scale: _one(list(some), "grade") for scale, some in _many(grades, "scale").items()}
    )


def _tables(found: dict[str, list[Any]]) -> Tables:
    return Tables(
        edition="",
        digest="",
        sources=_one(found["sources"], "key"),
        joints=_one(found["joints"], "joint"),
        digits=_one(found["digits"], "digit"),
        motions=_one(found["motions"], "joint", "motion"),
        limits=_many(found["limits"], "joint", "item"),
        sites=_one(found["sites"], "joint", "part", "site"),
        signs=_one(found["signs"], "part", "sign"),
        strength=_one(found["strength"], "joint", "test"),
        scales=_scales(found["scales"]),
        options=_one(found["options"], "kind", "option"),
        methods=_one(found["methods"], "method"),
        units=_one(found["units"], "unit"),
        qualifiers=_one(found["qualifiers"], "qualifier"),
        systems=_one(found["systems"], "system"),
        codes=_one(found["codes"], "system", "code"),
        loinc_axes=_one(found["loinc_axes"], "loinc"),
        maps=_many(found["maps"], "concept"),
        structures=_one(found["structures"], "structure"),
        ranges=_many(found["ranges"], "joint", "motion"),
        errors=tuple(found["errors"]),
        changes=_many(found["changes"], "measure", "item"),
        computations=_one(found["computations"], "computation"),
        axes=tuple(found["axes"]),
        windows=tuple(found["windows"]),
        chains=tuple(found["chains"]),
        bands=_many(found["bands"], "computation", "chain"),
        reaches=tuple(found["reaches"]),
        ratios=tuple(found["ratios"]),
        ratio_levels=_many(found["ratio_levels"], "computation"),
        norm_sets=_one(found["norm_sets"], "norm_set"),
        norms=_many(found["force_norms"], "joint", "test"),
        percentiles=_many(found["force_percentiles"], "joint", "test"),
        cutoffs=_many(found["cutoffs"], "computation"),
        dominance=_one(found["dominance"], "joint", "test", "dominant"),
        unfit=tuple(found["unfit"]),
        scores=_one(found["scores"], "computation"),
        score_items=_many(found["score_items"], "computation"),
        score_points=_many(found["score_points"], "computation", "order"),
        suppliers=_one(found["suppliers"], "supplier"),
        innervation=_many(found["innervation"], "joint", "test"),
        innervation_notes=_one(found["innervation_notes"], "joint", "test"),
        protocols=_many(found["protocols"], "protocol"),
        prompts=_one(found["prompts"], "prompt"),
        triggers=_many(found["triggers"], "prompt"),
        concepts=MappingProxyType({}),
    )
