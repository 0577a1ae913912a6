"""What the recorded findings should make a reader consider: prompts, never diagnoses.

Which findings show a prompt is mappings/reference/triggers.csv. A prompt adds to a record and
takes nothing away; what is done is decided under the local protocol.
"""

from __future__ import annotations

from collections import defaultdict
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from brachium.assess.derived import Used
from brachium.assess.options import MEMORY
from brachium.assess.triggers import fits, item_of, true_words
from brachium.assess.wording import named, result, topic
from brachium.exam.findings import Motion, Sign
from brachium.tables.protocol_rows import BOTH_SIDES, DIGIT, ITEM, JOINT, NEVER

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from brachium.assess.judgement import Judgement
    from brachium.exam.findings import Finding
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables
    from brachium.tables.protocol_rows import PromptRow, Trigger

PROTOCOL = "Follow the local protocol."
NOT_AT_HAND = "The published guidance behind this prompt was not at hand when it was written."

_SIDES = ("right", "left", "both")

# side, joint, digit and item; empty where the scope of the prompt does not ask
_Where: TypeAlias = "tuple[str, str, str, str]"
_Found: TypeAlias = "dict[str, dict[_Where, dict[str, list[Leaf]]]]"


class Prompt(NamedTuple):
    """One prompt, shown for ``side`` (left, right or both), and ``joint`` and ``digit`` if any.

    ``rule`` is id and version; ``text`` says what to consider; ``used`` are the findings that
    showed it, with their values in words; ``sources`` are keys of sources.csv; ``evidence`` is seen
    or memory.
    """

    prompt: str
    rule: str
    title: str
    text: str
    side: str
    joint: str
    digit: str
    used: tuple[Used, ...]
    sources: tuple[str, ...]
    evidence: str

    @property
    def statement(self) -> str:
        """Everything a reader needs: values, what to consider, who decides, and the basis."""
        values = "; ".join(one.value for one in self.used)
        doubt = f" {NOT_AT_HAND}" if self.evidence == MEMORY else ""
        basis = f"Basis: {', '.join(self.sources)}; rule {self.rule}."
        return f"{self.title}. Recorded: {values}. {self.text} {PROTOCOL}{doubt} {basis}"


def prompts(
    leaves: Iterable[Leaf], judged: Mapping[str, Judgement], tables: Tables
) -> tuple[Prompt, ...]:
    """Return the prompts that the findings show, in the order of the table, right before left.

    ``judged`` holds the judgements by leaf key (Assessment.ranges). The order of findings does not
    matter, and no finding takes a prompt away.
    """
    found = _found(leaves, judged, tables)
    shown = []
    for name in _names(tables):
        places = found.get(name, {})
        for where in sorted(places, key=lambda one: (_SIDES.index(one[0]), one)):
            groups = places[where]
            if len(groups) == _group_count(name, tables):
                shown.append(_shown(tables.prompts[name], where, groups.values(), tables))
    return tuple(shown)


def left_out(tables: Tables) -> tuple[tuple[str, str], ...]:
    """Return the title of every prompt that exams cannot show, and why not."""
    return tuple((row.title, row.needs) for row in tables.prompts.values() if row.scope == NEVER)


def _found(leaves: Iterable[Leaf], judged: Mapping[str, Judgement], tables: Tables) -> _Found:
    """Return what fits each group of each prompt, by the place where the groups must meet."""
    found: _Found = {}
    for leaf in leaves:
        words = true_words(leaf, judged.get(leaf.key))
        if not words:
            continue
        for trigger in _asking(leaf.finding, tuple(words), tables):
            if fits(trigger, words, leaf.finding, tables):
                places = found.setdefault(trigger.prompt, {})
                for where, group in _places(trigger, leaf, tables):
                    groups = places.setdefault(where, defaultdict(list))
                    groups[group].append(leaf)
    return found


def _asking(finding: Finding, words: tuple[str, ...], tables: Tables) -> tuple[Trigger, ...]:
    site = finding.site if isinstance(finding, Sign) else ""
    mode = finding.mode if isinstance(finding, Motion) else ""
    return _watching(finding.kind, finding.joint, item_of(finding), site, mode, words, tables)


def _places(trigger: Trigger, leaf: Leaf, tables: Tables) -> Iterable[tuple[_Where, str]]:
    """Yield each place where a leaf counts, and the group it counts for there."""
    scope = tables.prompts[trigger.prompt].scope
    for side in ("left", "right") if leaf.side == "both" else (leaf.side,):
        if scope == BOTH_SIDES:
            yield ("both", "", "", ""), f"{trigger.group} {side}"
        else:
            joint = leaf.finding.joint if scope in (ITEM, JOINT) else ""
            digit = (leaf.finding.digit or "") if scope in (ITEM, JOINT, DIGIT) else ""
            item = item_of(leaf.finding) if scope == ITEM else ""
            yield (side, joint, digit, item), trigger.group


def _shown(
    row: PromptRow, where: _Where, groups: Iterable[Sequence[Leaf]], tables: Tables
) -> Prompt:
    leaves = {leaf.key: leaf for group in groups for leaf in group}
    used = (Used(key, _said(leaves[key], tables)) for key in sorted(leaves))
    sources = (row.source, *row.also)
    names = row.prompt, row.rule, row.title, row.text
    return Prompt(*names, *where[:3], tuple(used), sources, row.evidence)


def _said(leaf: Leaf, tables: Tables) -> str:
    return f"{named(topic(leaf), leaf.side, tables)}: {result(leaf, tables)}"


@lru_cache(maxsize=16)
def _names(tables: Tables) -> tuple[str, ...]:
    return tuple(row.prompt for row in tables.prompts.values() if row.scope != NEVER)


@lru_cache(maxsize=256)
def _group_count(prompt: str, tables: Tables) -> int:
    count = len({row.group for row in tables.triggers[prompt]})
    return 2 * count if tables.prompts[prompt].scope == BOTH_SIDES else count


@lru_cache(maxsize=4096)
def _watching(
    kind: str,
    joint: str,
    item: str,
    site: str,
    mode: str,
    words: tuple[str, ...],
    tables: Tables,
) -> tuple[Trigger, ...]:
    """Return the triggers that ask about such a finding, and for one of these words."""
    return tuple(
        row
        for rows in tables.triggers.values()
        for row in rows
        if row.kind in ("", kind)
        and (not row.joints or joint in row.joints)
        and (not row.items or item in row.items)
        and (not row.sites or site in row.sites)
        and row.mode in ("", mode)
        and not set(words).isdisjoint(row.holds)
    )
