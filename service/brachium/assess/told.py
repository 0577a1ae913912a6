"""What an answer tells of an assessment, as JSON text: made once, stored, never worked out again.

``judged`` lists what was judged: measured motions, other findings that stand out, differences
that are flagged, every computation (also one that could not be made, with what is missing), and
prompts. Each entry explains itself: rule and version, sources, evidence, the findings it used with
their values, and a sentence. ``completeness`` holds the exam against a protocol.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import orjson

from brachium.assess.derived import Used
from brachium.assess.narrative_joints import differences_of
from brachium.assess.options import MEMORY
from brachium.assess.verdicts import OUTSIDE, verdict
from brachium.assess.wording import named, result, topic

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from decimal import Decimal

    from brachium.assess.assessment import Assessment
    from brachium.assess.completeness import Completeness
    from brachium.assess.derived import Derived
    from brachium.assess.judgement import Judgement
    from brachium.assess.prompts import Prompt
    from brachium.assess.sides import SideDifference
    from brachium.assess.weakness import Account, Pattern
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

Entry = dict[str, Any]
RANGE, DIFFERENCE, COMPUTED = "range", "difference", "computed"
WEAKNESS, PROMPT = "weakness", "prompt"
# intervals and thresholds are conventions of this service, made of published figures
_OWN = "own"


def told(leaves: Sequence[Leaf], assessment: Assessment, tables: Tables) -> bytes:
    """Return the assessment as JSON text. Entries do not depend on the order of findings."""
    by_key = {leaf.key: leaf for leaf in leaves}
    entries = list(_entries(leaves, by_key, assessment, tables))
    entries.sort(key=_order)
    return orjson.dumps(
        {
            "edition": tables.edition,
            "judged": entries,
            "completeness": _covered(assessment.completeness),
        }
    )


_KINDS = (RANGE, DIFFERENCE, COMPUTED, WEAKNESS, PROMPT)


def _order(entry: Entry) -> tuple[bool, int, str]:
    return not entry["flagged"], _KINDS.index(entry["kind"]), entry["key"]


def _entries(
    leaves: Iterable[Leaf],
    by_key: dict[str, Leaf],
    assessment: Assessment,
    tables: Tables,
) -> Iterator[Entry]:
    for leaf in leaves:
        judgement = assessment.ranges.get(leaf.key)
        if judgement is not None and (judgement.interpretation in OUTSIDE or judgement.is_measured):
            yield of_judgement(leaf, judgement, tables)
    for difference in assessment.differences:
        if difference.is_told:
            yield of_difference(difference, by_key, tables)
    yield from (of_derived(derived) for derived in assessment.computed)
    yield from (of_pattern(pattern) for pattern in assessment.patterns)
    yield from (of_prompt(prompt) for prompt in assessment.prompts)


def of_judgement(leaf: Leaf, judgement: Judgement, tables: Tables) -> Entry:
    """Return the entry of one value held against its reference, whatever came of it."""
    used = judgement.reference
    said = result(leaf, tables)
    name = named(topic(leaf), leaf.side, tables)
    entry = _entry(
        RANGE,
        leaf.key,
        used.rule,
        used.sources,
        used.evidence,
        (Used(leaf.key, said),),
        f"{name[:1].upper()}{name[1:]}: {said}{verdict(judgement, tables, basis=True)}.",
        flagged=judgement.interpretation in OUTSIDE,
    )
    entry["interpretation"] = judgement.interpretation
    if judgement.value is not None and used.unit:
        entry |= _measured(judgement.value, used.unit, used.low, used.high)
    if used.text:
        entry["reference"] = used.text
    return entry | _standing(judgement)


def _standing(judgement: Judgement) -> Entry:
    """Return deficit and percentage of the handbook's full range, z-score and percentile."""
    found: Entry = {}
    if (book := judgement.reference.book) is not None and judgement.deficit is not None:
        found["handbook"] = {
            "fullRange": _number(book.value),
            "deficit": _number(judgement.deficit),
            "percent": _number(judgement.percent),
            "source": book.source,
        }
    if judgement.z is not None and judgement.percentile is not None:
        found["z"] = _number(judgement.z)
        found["percentile"] = _number(judgement.percentile.value)
        if judgement.percentile.comparator:
            found["percentileComparator"] = judgement.percentile.comparator
    return found


def of_difference(difference: SideDifference, by_key: dict[str, Leaf], tables: Tables) -> Entry:
    """Return the entry of right minus left."""
    threshold = difference.threshold
    entry = _entry(
        DIFFERENCE,
        difference.key,
        difference.rule,
        () if threshold is None else (threshold.source,),
        MEMORY if threshold and threshold.evidence == MEMORY else _OWN,
        tuple(Used(key, result(by_key[key], tables)) for key in difference.sources),
        f"{differences_of([difference], tables, named_in_full=True)[0]}.",
        flagged=bool(difference.flagged),
    )
    limit = None if threshold is None else threshold.value
    entry |= _measured(difference.value, "deg", None if limit is None else -limit, limit)
    return entry


def of_derived(derived: Derived) -> Entry:
    """Return the entry of a computation; what is missing is listed, and its value is null."""
    entry = _entry(
        COMPUTED,
        derived.key,
        derived.rule,
        derived.sources,
        derived.evidence,
        derived.used,
        derived.statement,
        flagged=derived.flagged,
    )
    entry |= _measured(derived.value, derived.unit, derived.low, derived.high)
    if derived.comparator:
        entry["comparator"] = derived.comparator
    if derived.interpretation is not None:
        entry["interpretation"] = derived.interpretation
    if derived.gradings:
        entry["gradings"] = [one._asdict() for one in derived.gradings]
    if derived.missing:
        entry["missing"] = derived.missing
    return entry


def of_pattern(pattern: Pattern) -> Entry:
    """Return the entry of a pattern of weakness, with every candidate and what speaks for it."""
    entry = _entry(
        WEAKNESS,
        f"weakness/{pattern.side}",
        pattern.rule,
        pattern.sources,
        _weakest(account.evidence for account in pattern.accounts),
        (*pattern.weak, *pattern.strong),
        pattern.statement,
        flagged=True,
    )
    entry["candidates"] = [_candidate(account) for account in pattern.accounts]
    entry["leftOut"] = pattern.vague
    entry["unlisted"] = _keys(pattern.unlisted)
    entry["notes"] = [note._asdict() for note in pattern.notes]
    return entry


# what everything else rests on decides how well it is known
_BEST_FIRST = ("seen", "secondary", "own", "memory")


def _weakest(evidence: Iterable[str]) -> str:
    return max(evidence, key=_BEST_FIRST.index, default=_OWN)


def _candidate(account: Account) -> Entry:
    return {
        "name": account.label,
        "kind": account.kind,
        "list": account.scheme,
        "rank": account.rank,
        "fits": account.fits,
        "explained": _keys(account.explained),
        "unexplained": _keys(account.unexplained),
        "contradicting": _keys(account.contradicting),
        "partlyServed": _keys(account.partly),
        "sources": account.sources,
        "evidence": account.evidence,
    }


def _keys(used: Iterable[Used]) -> list[str]:
    return [one.leaf for one in used]


def of_prompt(prompt: Prompt) -> Entry:
    """Return the entry of a prompt: what to consider, and which findings showed it."""
    where = "/".join(word or "-" for word in (prompt.side, prompt.joint, prompt.digit))
    return _entry(
        PROMPT,
        f"prompt/{prompt.prompt}/{where}",
        prompt.rule,
        prompt.sources,
        prompt.evidence,
        prompt.used,
        prompt.statement,
        flagged=True,
    )


def _entry(
    kind: str,
    key: str,
    rule: str,
    sources: tuple[str, ...],
    evidence: str,
    used: Iterable[Used],
    sentence: str,
    *,
    flagged: bool,
) -> Entry:
    identity, _, version = rule.partition("/")
    return {
        "kind": kind,
        "key": key,
        "flagged": flagged,
        "sentence": sentence,
        "rule": identity,
        "ruleVersion": version,
        "sources": sources,
        "evidence": evidence,
        "used": [{"finding": one.leaf, "value": one.value} for one in used],
    }


def _measured(value: Decimal | None, unit: str, low: Decimal | None, high: Decimal | None) -> Entry:
    found: Entry = {"value": _number(value), "unit": unit}
    if low is not None:
        found["low"] = _number(low)
    if high is not None:
        found["high"] = _number(high)
    return found


def _number(value: Decimal | None) -> orjson.Fragment | None:
    """Return a JSON number with the digits of the value, never in exponent notation."""
    if value is None:
        return None
    text = str(value)
    return orjson.Fragment(f"{value:f}" if "E" in text else text)


def _covered(found: Completeness | None) -> Entry | None:
    if found is None:
        return None
    identity, _, version = found.rule.partition("/")
    return {
        "protocol": found.protocol,
        "sentence": found.statement,
        "rule": identity,
        "ruleVersion": version,
        "done": found.done,
        "asked": found.asked,
        "notApplicable": found.not_applicable,
        "percent": _number(found.percent),
        "cells": [
            {
                "joint": cell.joint,
                "part": cell.part,
                "side": cell.side,
                "state": cell.state,
                "outcome": cell.outcome,
                "reasons": cell.reasons,
                "missing": cell.missing,
                "findings": cell.leaves,
            }
            for cell in found.cells
        ],
        "beyond": found.beyond,
    }
