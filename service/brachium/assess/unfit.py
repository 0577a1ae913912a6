"""What makes a side unfit for a cut-off of force: pain, swelling, a wound, a scar, a cast.

Which signs and limits count, and at which joints, is rows of mappings/reference/unfit.csv.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from brachium.assess.tested import limiter
from brachium.exam.findings import Motion, Sign, Strength
from brachium.tables.concepts import in_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

_LIMITER = "limiter"
_SIDES = {"right": ("right",), "left": ("left",), "both": ("right", "left")}


def unfit_sides(leaves: Iterable[Leaf], tables: Tables) -> Mapping[str, tuple[str, ...]]:
    """Return, by side, why it is unfit: each reason in words, each once, in alphabetical order."""
    found: dict[str, dict[str, None]] = {"right": {}, "left": {}}
    known = _known(tables)
    for leaf in leaves:
        for word in _words(leaf, known, tables):
            for side in _SIDES[leaf.side]:
                found[side][word] = None
    return {side: tuple(sorted(words)) for side, words in found.items()}


def _words(
    leaf: Leaf, known: Mapping[tuple[str, str], tuple[str, ...]], tables: Tables
) -> Iterable[str]:
    finding = leaf.finding
    if isinstance(finding, Sign) and finding.present:
        if finding.joint in known.get((finding.kind, finding.sign), ()):
            yield in_text(tables.signs[finding.kind, finding.sign].label)
        return
    limits = finding.limited_by if isinstance(finding, Motion | Strength) else ()
    if finding.absent is not None and finding.absent.because:
        limits = (*limits, finding.absent.because)
    for limit in limits:
        if finding.joint in known.get((_LIMITER, limit), ()):
            yield f"limited by {limiter(limit, tables)}"


@lru_cache(maxsize=16)
def _known(tables: Tables) -> Mapping[tuple[str, str], tuple[str, ...]]:
    return {(row.kind, row.item): row.joints for row in tables.unfit}


@lru_cache(maxsize=16)
def vague_limits(tables: Tables) -> frozenset[str]:
    """Return the limits beside which a grade says nothing of nerve and root."""
    return frozenset(row.item for row in tables.unfit if row.kind == _LIMITER and row.grades)
