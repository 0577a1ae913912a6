"""What is true of a finding, in the few words of mappings/reference/triggers.csv."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.assess.measured import value_of
from brachium.assess.values import end_position
from brachium.exam.findings import Motion, Part, Sign, Strength
from brachium.tables.protocol_rows import (
    AT_LEAST,
    BELOW,
    LIMITED,
    LIMITED_BY,
    LOW,
    PRESENT,
    SHORT,
    ZERO,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from brachium.assess.judgement import Judgement
    from brachium.exam.findings import Finding
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables
    from brachium.tables.protocol_rows import Trigger


def item_of(finding: Finding) -> str:
    """Return the sign, motion, test or part of a finding."""
    if isinstance(finding, Motion):
        return finding.motion
    if isinstance(finding, Sign):
        return finding.sign
    return finding.part if isinstance(finding, Part) else finding.test


def true_words(leaf: Leaf, judged: Judgement | None) -> list[str]:
    """Return the words that may hold for a leaf: of ``below`` and ``at-least`` a number decides."""
    finding = leaf.finding
    absent = finding.absent
    if absent is not None:
        limited = [f"{LIMITED_BY}{absent.because}"] if absent.because else []
        return [absent.reason, *limited, *_limits(finding)]
    if isinstance(finding, Sign):
        return [PRESENT] if finding.present else []
    if isinstance(finding, Motion):
        return _of_motion(finding, judged)
    if isinstance(finding, Strength):
        limits = _limits(finding)
        return limits if finding.grade is None else [BELOW, *limits]
    return []


def fits(trigger: Trigger, words: Sequence[str], finding: Finding, tables: Tables) -> bool:
    """Tell whether a trigger that asks for one of the words holds, its number included."""
    held = [word for word in trigger.holds if word in words]
    return any(word not in (BELOW, AT_LEAST) for word in held) or (
        bool(held) and _counts(finding, trigger.number, tables)
    )


def _of_motion(finding: Motion, judged: Judgement | None) -> list[str]:
    words = _limits(finding)
    said = None if judged is None else judged.interpretation
    short = (end_position(finding) or 0) > 0
    if short:
        words.append(SHORT)
    # an end of extension is judged on an axis where more is less extension
    if said == "L" or (short and said == "A"):
        words.append(LOW)
    if finding.angle is not None:
        words.append(AT_LEAST if finding.angle.value else ZERO)
    return words


def _limits(finding: Finding) -> list[str]:
    if isinstance(finding, Motion | Strength) and finding.limited_by:
        limiters = [f"{LIMITED_BY}{limiter}" for limiter in finding.limited_by]
        return limiters if finding.absent is not None else [LIMITED, *limiters]
    return []


def _counts(finding: Finding, number: Decimal | None, tables: Tables) -> bool:
    if number is None:
        return False
    if isinstance(finding, Motion):
        value = value_of(finding, tables)
        return value is not None and value >= number
    if not isinstance(finding, Strength) or finding.grade is None:
        return False
    scale = tables.strength[finding.joint, finding.test].scale
    return tables.scales[scale][finding.grade].ordinal < number
