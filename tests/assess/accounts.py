"""Exams for the tests of completeness, prompts and narrative: read, judged and turned round."""

from __future__ import annotations

import copy
from typing import Any

from tests.exam.builders import read, tables

from brachium.assess.assessment import Assessment, assess
from brachium.exam.findings import Exam
from brachium.exam.leaves import Leaf, leaves

Judged = tuple[Exam, tuple[Leaf, ...], Assessment]
OTHER = {"left": "right", "right": "left", "both": "both", "either": "either"}


def judged(posted: Any) -> Judged:
    """An accepted exam with its leaves and judgements."""
    examined = read(posted)
    assert examined.exam is not None, examined.problems
    found = leaves(examined.exam, tables())
    return examined.exam, found, assess(examined.exam, found, tables())


def mirrored(posted: Any) -> Any:
    """The same exam with left and right swapped, the dominant hand too."""
    other = copy.deepcopy(posted)
    for finding in other["findings"]:
        finding["side"] = OTHER[finding["side"]]
    hand = other["patient"]["dominantHand"]
    other["patient"]["dominantHand"] = OTHER.get(hand, hand)
    return other


def swapped_key(key: str) -> str:
    """The key that a leaf has in the mirrored exam."""
    head, slash, side = key.partition("/")
    return head + slash + OTHER.get(side, side)


def backwards(posted: Any) -> Any:
    return {**posted, "findings": posted["findings"][::-1]}
