"""The tables of mappings/, checked: what everything else works with.

Broken tables stop the start-up: :class:`~brachium.problems.BrokenTables` lists every fault.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.problems import BrokenTables
from brachium.tables.check import quick_faults
from brachium.tables.gather import Tables, gather

if TYPE_CHECKING:
    from pathlib import Path

    from brachium.tables.rows import Limit, Structure

__all__ = ["Tables", "limit_for", "load", "structure_of"]


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


def limit_for(
    tables: Tables,
    joint: str,
    item: str,
    *,
    direction: str = "",
    arm_position: str = "",
    digit: str = "",
    sex: str = "",
    age: int | None = None,
) -> Limit | None:
    """Return the limit that holds for a value, or None where the tables have none.

    ``item`` is a motion or strength test of ``joint``; ``age`` in completed years (None: unknown,
    taken as adult). An empty selector of a row fits anything, and the row with the most filled
    selectors wins.
    """
    years = 30 if age is None else age
    fitting = [
        row
        for row in tables.limits.get((joint, item), ())
        if row.direction == direction
        and row.arm_position in ("", arm_position)
        and row.digit in ("", digit)
        and row.sex in ("", sex)
        and row.age_from <= years < row.age_below
    ]
    filled = lambda row: sum(map(bool, (row.arm_position, row.digit, row.sex)))  # noqa: E731
    return max(fitting, key=filled, default=None)


def structure_of(
    tables: Tables, joint: str, part: str = "", site: str = "", digit: str = ""
) -> Structure:
    """Return the body structure of a finding: of its site, else of its digit, else of its joint.

    A joint that exists once per digit keeps its own structure; a finding about a whole digit has
    the structure of the digit.
    """
    row = tables.joints[joint]
    name = row.structure
    if site:
        name = tables.sites[joint, part, site].structure
    elif digit and not row.digits:
        name = ""
    return tables.structures[name or tables.digits[digit].structure]
