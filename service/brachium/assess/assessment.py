"""The assessment of an exam: everything computed from its leaves, before anything is coded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brachium.assess.judgement import Judgement, Person, judge
from brachium.assess.sides import SideDifference, side_differences
from brachium.exam.dates import ages

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brachium.exam.findings import Exam
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

# an exam with impossible dates does not pass the model; if it did, no published row would fit
_NO_AGE = (-1, -1)


@dataclass(frozen=True, slots=True)
class Assessment:
    """``ranges`` holds the judgement of every leaf that has one, by leaf key."""

    ranges: Mapping[str, Judgement]
    differences: tuple[SideDifference, ...]


def assess(exam: Exam, leaves: Sequence[Leaf], tables: Tables) -> Assessment:
    """Judge every leaf of a checked exam and compare its sides. Pure; raises nothing of its own."""
    youngest, oldest = ages(exam.patient.birth_date, exam.effective) or _NO_AGE
    person = Person(exam.patient.sex, youngest, oldest)
    ranges = {
        leaf.key: judgement
        for leaf in leaves
        if (judgement := judge(leaf, person, tables)) is not None
    }
    return Assessment(ranges, side_differences(leaves, tables))
