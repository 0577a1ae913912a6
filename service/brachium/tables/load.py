"""The tables of mappings/, checked: what everything else works with.

Broken tables stop the start-up: :class:`~brachium.problems.BrokenTables` lists every fault.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.problems import BrokenTables
from brachium.tables.check import quick_faults
from brachium.tables.gather import gather
from brachium.tables.rows import Tables

if TYPE_CHECKING:
    from pathlib import Path


__all__ = ["Tables", "load"]


def load(directory: Path | None = None, overlay: Path | None = None) -> Tables:
    """Read and check the tables; an overlay directory may add rows to any of them.

    Raises :class:`BrokenTables` with every fault found. The checks that cost time (JSON Schema)
    run in :func:`brachium.tables.check.faults` alone.
    """
    draft = gather(directory, overlay)
    faults = quick_faults(draft)
    if faults:
        raise BrokenTables(faults)
    return draft.tables
