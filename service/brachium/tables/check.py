"""Every way in which tables can contradict themselves, as sentences with file and line."""

from __future__ import annotations

from collections import defaultdict
from operator import attrgetter
from typing import TYPE_CHECKING

from brachium.tables import (
    change_checks,
    code_checks,
    computation_checks,
    measure_checks,
    model_checks,
    protocol_checks,
    ratio_checks,
    schema_checks,
    source,
    strength_checks,
)
from brachium.tables.concepts import concepts
from brachium.tables.gather import Draft, gather
from brachium.tables.source import TABLES

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def faults(directory: Path | None = None, overlay: Path | None = None) -> list[str]:
    """List every fault of a table directory (and of an overlay); empty when it is sound.

    Besides all that stops a start-up this holds each file against its JSON Schema in schemas/.
    """
    draft = gather(directory, overlay)
    schemas = (directory or source.default_directory()) / "schemas"
    return quick_faults(draft) + list(schema_checks.faults(draft, schemas))


def quick_faults(draft: Draft) -> list[str]:
    """List the faults that stop a start-up."""
    found = list(draft.faults)
    found.extend(_twice(draft))
    found.extend(_sources(draft))
    found.extend(_concepts(draft))
    found.extend(model_checks.faults(draft))
    found.extend(measure_checks.faults(draft))
    found.extend(change_checks.faults(draft))
    found.extend(computation_checks.faults(draft))
    found.extend(ratio_checks.faults(draft))
    found.extend(strength_checks.faults(draft))
    found.extend(protocol_checks.faults(draft))
    found.extend(code_checks.faults(draft))
    return found


def _twice(draft: Draft) -> Iterator[str]:
    for table in TABLES:
        places: dict[object, list[str]] = defaultdict(list)
        for one in draft.reads[table.name]:
            places[attrgetter(*table.key)(one.row)].append(one.place)
        for key, where in places.items():
            if len(where) > 1:
                yield f"{' and '.join(where)}: {key} comes more than once"


def _sources(draft: Draft) -> Iterator[str]:
    known = draft.tables.sources
    for some in draft.reads.values():
        for one in some:
            if "source" in one.cells and one.cells["source"] not in known:
                yield f"{one.place}: source {one.cells['source']!r} is not in sources.csv"


def _concepts(draft: Draft) -> Iterator[str]:
    if not draft.tables.concepts:
        return
    seen: dict[str, str] = {}
    for concept in concepts(draft.tables):
        if concept.code in seen:
            yield (
                f"concepts: {concept.code} is made twice, "
                f"from {seen[concept.code]} and {concept.kind} rows"
            )
        seen[concept.code] = concept.kind
