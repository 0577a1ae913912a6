"""Scores that are sums over items: which items, how many points, and what is missing is rows.

A score is spoken of when an item that asks for it was recorded. Every item must be there: a sum of
fewer items is never given. A grade with plus or minus has no place in any of the scores, so such a
score is not determinable, and says why.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.derived import Derived, Used
from brachium.assess.measured import sentence, tidy
from brachium.assess.neutral_zero import plain
from brachium.assess.options import MEMORY
from brachium.assess.score_items import Recorded, is_recorded, points_of
from brachium.tables.strength_rows import BOTH, EACH

if TYPE_CHECKING:
    from brachium.assess.measured import Moved
    from brachium.assess.options import AssessOptions
    from brachium.assess.score_items import Points
    from brachium.assess.tested import Tests
    from brachium.tables.load import Tables
    from brachium.tables.strength_rows import Score, ScoreItem

_SIDES = ("right", "left")


class _Sum(NamedTuple):
    """One sum: points, what it was made of in words, the findings, and what is missing."""

    points: Decimal
    parts: tuple[str, ...]
    used: tuple[Used, ...]
    missing: tuple[str, ...]


def scores(
    tests: Tests, moved: Moved, tables: Tables, options: AssessOptions
) -> tuple[Derived, ...]:
    """Return every score of which an item that asks for it was recorded."""
    have = Recorded(tests, moved)
    found: list[Derived] = []
    for score, items in _allowed(tables, options):
        asked = [side for side in _SIDES if _asked(items, side, have)]
        if not asked:
            continue
        sums = {side: _sum(score, items, side, have, tables) for side in _SIDES}
        if score.sides != BOTH:
            found.extend(_derived(score, side, sums[side], tables) for side in asked)
        if score.sides != EACH:
            found.append(_derived(score, "both", _joined(sums["right"], sums["left"]), tables))
    return tuple(found)


@lru_cache(maxsize=16)
def _allowed(
    tables: Tables, options: AssessOptions
) -> tuple[tuple[Score, tuple[ScoreItem, ...]], ...]:
    found = [(score, tables.score_items[name]) for name, score in tables.scores.items()]
    return tuple(
        (score, items)
        for score, items in found
        if options.allows(score.evidence) and all(options.allows(one.evidence) for one in items)
    )


def _asked(items: tuple[ScoreItem, ...], side: str, have: Recorded) -> bool:
    return any(item.asks and is_recorded(item, side, have) for item in items)


def _sum(
    score: Score, items: tuple[ScoreItem, ...], side: str, have: Recorded, tables: Tables
) -> _Sum:
    found: list[Points] = [points_of(item, side, have, tables) for item in items]
    total = sum((one.points for one in found if one.points is not None), Decimal(0))
    return _Sum(
        total + score.extra if total else total,
        tuple(one.text for one in found if one.text),
        tuple(dict.fromkeys(use for one in found for use in one.used)),
        tuple(dict.fromkeys(gap for one in found for gap in one.missing)),
    )


def _joined(right: _Sum, left: _Sum) -> _Sum:
    return _Sum(
        right.points + left.points,
        (f"right {plain(right.points)}", f"left {plain(left.points)}"),
        (*right.used, *left.used),
        (*right.missing, *left.missing),
    )


def _derived(score: Score, side: str, total: _Sum, tables: Tables) -> Derived:
    made = tables.computations[score.computation]
    who = "Both sides" if side == "both" else f"{side} side"
    evidence = MEMORY if MEMORY in (score.evidence, made.evidence) else score.evidence
    highest = score.highest * 2 if side == "both" else score.highest
    if total.missing:
        text = f"{made.phrase} {score.undone}; {'; '.join(total.missing)}"
    else:
        text = f"{made.phrase} {plain(total.points)} of {plain(highest)} ({', '.join(total.parts)})"
    text += "; from memory, not read in its publication" if evidence == MEMORY else ""
    text += f". {score.caution}" if score.caution else ""
    return Derived(
        name=score.computation,
        rule=made.rule,
        joint=score.joint,
        digit="",
        side=side,
        qualifier="",
        statement=sentence(f"{who}: {text}"),
        sources=tuple(dict.fromkeys((made.source, score.source))),
        evidence=evidence,
        used=total.used,
        value=None if total.missing else tidy(total.points),
        unit=made.unit,
        missing=total.missing,
    )
