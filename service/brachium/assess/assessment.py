"""The assessment of an exam: everything computed from its leaves, before anything is coded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brachium.assess.completeness import completeness
from brachium.assess.from_motions import from_motions
from brachium.assess.from_strength import from_strength, whose
from brachium.assess.judgement import Judgement, Person, judge
from brachium.assess.measured import moved
from brachium.assess.options import AssessOptions
from brachium.assess.prompts import prompts
from brachium.assess.sides import SideDifference, side_differences
from brachium.exam.dates import ages

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from brachium.assess.completeness import Completeness
    from brachium.assess.derived import Derived
    from brachium.assess.prompts import Prompt
    from brachium.assess.weakness import Pattern
    from brachium.exam.findings import Exam
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

# an exam with impossible dates does not pass the model; if it did, no published row would fit
_NO_AGE = (-1, -1)
_PUBLISHED = AssessOptions()


@dataclass(frozen=True, slots=True)
class Assessment:
    """``ranges`` holds the judgement of every leaf that has one, by leaf key.

    ``computed`` holds every computation of which at least one input was recorded, also those that
    could not be worked out. ``patterns`` of weakness are told and never coded: they are no
    diagnosis. ``completeness`` is ``None`` when no protocol covers the exam.
    """

    ranges: Mapping[str, Judgement]
    differences: tuple[SideDifference, ...]
    computed: tuple[Derived, ...] = ()
    prompts: tuple[Prompt, ...] = ()
    completeness: Completeness | None = None
    patterns: tuple[Pattern, ...] = ()


def assess(
    exam: Exam, leaves: Sequence[Leaf], tables: Tables, options: AssessOptions = _PUBLISHED
) -> Assessment:
    """Judge every leaf of a checked exam, compare its sides and work out what follows from them.

    Pure; raises nothing of its own.
    """
    ranges = judged(leaves, person_of(exam), tables, options)
    motions = moved(leaves, tables)
    strength = from_strength(leaves, whose(exam), tables, options, motions)
    return Assessment(
        ranges,
        side_differences(leaves, ranges, tables, options),
        (*from_motions(leaves, ranges, tables, options, motions), *strength.computed),
        prompts(leaves, ranges, tables),
        completeness(leaves, ranges, tables),
        strength.patterns,
    )


def judged(
    leaves: Iterable[Leaf], person: Person, tables: Tables, options: AssessOptions
) -> dict[str, Judgement]:
    """Return the judgement of every leaf that has one, by leaf key."""
    return {
        leaf.key: judgement
        for leaf in leaves
        if (judgement := judge(leaf, person, tables, options)) is not None
    }


def person_of(exam: Exam) -> Person:
    """Return what references need of the patient, at the time of the exam."""
    youngest, oldest = ages(exam.patient.birth_date, exam.effective) or _NO_AGE
    return Person(exam.patient.sex, youngest, oldest)
