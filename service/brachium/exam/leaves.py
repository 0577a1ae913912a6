"""Findings per side: "both" becomes left and right, except for signs that compare the sides."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.exam.findings import Exam, Finding, Sign

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.tables.load import Tables


class Leaf(NamedTuple):
    """One finding on one side.

    ``key`` is the finding's key, with ``/left`` or ``/right`` appended when "both" was expanded;
    ``side`` is left, right, or both for a paired sign; ``index`` is the place in the posted array.
    """

    key: str
    finding: Finding
    side: str
    index: int  # type: ignore[assignment] # hides tuple.index, which nobody needs here


def leaves(exam: Exam, tables: Tables) -> tuple[Leaf, ...]:
    """Return every leaf of an exam in posted order, left before right (EXM-10)."""
    return leaves_of(enumerate(exam.findings), tables)


def leaves_of(findings: Iterable[tuple[int, Finding]], tables: Tables) -> tuple[Leaf, ...]:
    """Expand findings that carry their index in the posted array."""
    result: list[Leaf] = []
    for index, finding in findings:
        side = finding.side
        if side != "both" or _paired(finding, tables):
            result.append(Leaf(finding.key, finding, side, index))
        else:
            result.append(Leaf(f"{finding.key}/left", finding, "left", index))
            result.append(Leaf(f"{finding.key}/right", finding, "right", index))
    return tuple(result)


def _paired(finding: Finding, tables: Tables) -> bool:
    if not isinstance(finding, Sign):
        return False
    row = tables.signs.get((finding.kind, finding.sign))
    return row is not None and row.paired
