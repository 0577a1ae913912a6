"""Everything that is worked out from strength, with the tests grouped once."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.force_sides import force_sides
from brachium.assess.graded import grade_sides
from brachium.assess.grip import summaries
from brachium.assess.low_force import low_forces
from brachium.assess.measured import moved
from brachium.assess.norms import against_norms
from brachium.assess.scores import scores
from brachium.assess.tested import Whose, tested
from brachium.assess.unfit import unfit_sides
from brachium.assess.weakness import patterns
from brachium.exam.dates import ages

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brachium.assess.derived import Derived
    from brachium.assess.measured import Moved
    from brachium.assess.options import AssessOptions
    from brachium.assess.weakness import Pattern
    from brachium.exam.findings import Exam
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

# an exam with impossible dates does not pass the model; if it did, no published row would fit
_NO_AGE = (-1, -1)


def whose(exam: Exam) -> Whose:
    """Return what of the patient of an exam matters for references."""
    person = exam.patient
    youngest, oldest = ages(person.birth_date, exam.effective) or _NO_AGE
    return Whose(person.sex, youngest, oldest, person.dominant_hand)


class FromStrength(NamedTuple):
    """``computed`` goes out as coded results; ``patterns`` never do (they are no diagnosis)."""

    computed: tuple[Derived, ...]
    patterns: tuple[Pattern, ...]


def from_strength(
    leaves: Sequence[Leaf],
    person: Whose,
    tables: Tables,
    options: AssessOptions,
    motions: Moved | None = None,
) -> FromStrength:
    """Return forces with their references, sides, scores of grades and motions, and patterns.

    ``motions`` spares the grouping where the caller has it already.
    """
    tests = tested(leaves, tables)
    groups = moved(leaves, tables) if motions is None else motions
    unfit = unfit_sides(leaves, tables) if tests else {}
    computed = (
        *summaries(tests, person, tables),
        *against_norms(tests, person, tables, options),
        *force_sides(tests, person, unfit, tables),
        *low_forces(tests, person, unfit, tables),
        *grade_sides(tests, person, tables),
        *scores(tests, groups, tables, options),
    )
    return FromStrength(computed, patterns(tests, tables, options))
