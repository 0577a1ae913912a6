"""Row types of what an exam should cover, and of what it should make a reader think of.

Field names are the column names, as in :mod:`brachium.tables.rows`.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

# words of Protocol.sides
EACH = "each"
EITHER = "either"

# words of Prompt.scope: where the groups of triggers must hold together
ITEM = "item"
JOINT = "joint"
DIGIT = "digit"
SIDE = "side"
BOTH_SIDES = "both-sides"
NEVER = "none"
SCOPES = (ITEM, JOINT, DIGIT, SIDE, BOTH_SIDES, NEVER)

# words of Trigger.holds; "limited-by-" goes before a limiter of options.csv
PRESENT = "present"
LOW = "low"
SHORT = "short"
ZERO = "zero"
BELOW = "below"
AT_LEAST = "at-least"
LIMITED = "limited"
LIMITED_BY = "limited-by-"
NOT_TESTED = "not-tested"
DECLINED = "declined"
# which words can be true of which kinds of finding; the limiter words fit every kind
HOLDS = {
    PRESENT: ("inspection", "palpation"),
    LOW: ("motion",),
    SHORT: ("motion",),
    ZERO: ("motion",),
    BELOW: ("strength",),
    AT_LEAST: ("motion",),
    LIMITED: ("motion", "strength"),
    NOT_TESTED: ("inspection", "palpation", "motion", "strength", "part"),
    DECLINED: ("inspection", "palpation", "motion", "strength", "part"),
}


@dataclass(frozen=True, slots=True)
class Protocol:
    """reference/protocols.csv, key (protocol, joint, part): one part of a joint to be examined.

    ``sides`` is each (every side is asked by itself) or either (one side is enough); each of
    ``digits`` is asked, none of them means whichever was examined; ``items`` are motions, strength
    tests or sites that must all be answered, none of them means any finding of the part.
    """

    protocol: str
    label: str
    joint: str
    part: str
    sides: str
    digits: tuple[str, ...]
    items: tuple[str, ...]
    order: int
    source: str


@dataclass(frozen=True, slots=True)
class PromptRow:
    """reference/prompts.csv: what certain findings should make a reader consider.

    ``rule`` is id/version; ``scope`` says where all groups of triggers must hold together, and is
    none for a prompt that exams cannot show, whose ``needs`` say why. ``also`` names further
    sources; ``evidence`` memory marks published guidance that was not at hand.
    """

    prompt: str
    rule: str
    title: str
    text: str
    needs: str
    scope: str
    order: int
    source: str
    also: tuple[str, ...]
    evidence: str


@dataclass(frozen=True, slots=True)
class Trigger:
    """reference/triggers.csv: findings that stand for one ``group`` of a prompt.

    Empty ``kind``, ``joints``, ``items`` (signs, motions, tests or parts), ``sites`` and ``mode``
    mean any. One of the words in ``holds`` must be true of the finding; ``number`` is the ordinal
    of a grade that below asks for, or the degrees that at-least asks for.
    """

    prompt: str
    group: str
    kind: str
    joints: tuple[str, ...]
    items: tuple[str, ...]
    sites: tuple[str, ...]
    mode: str
    holds: tuple[str, ...]
    number: Decimal | None
    source: str
