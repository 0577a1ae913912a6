"""Every published value that a finding could be held against, and why it fits or does not.

For explaining a judgement only: :mod:`brachium.assess.reference` makes it. A test holds both equal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.exam.findings import Motion

if TYPE_CHECKING:
    from brachium.assess.judgement import Person
    from brachium.assess.options import AssessOptions
    from brachium.exam.findings import Finding
    from brachium.tables.load import Tables
    from brachium.tables.rows import Range

_ANY = "any"


class Fitting(NamedTuple):
    """A row of mappings/reference/ranges.csv; ``against`` is empty exactly when it fits."""

    row: Range
    against: tuple[str, ...]


def fittings(
    finding: Finding, person: Person, tables: Tables, options: AssessOptions
) -> tuple[Fitting, ...]:
    """Return every published value of the motion of a finding; none for other findings.

    A row that fits may still stand back: a group with a spread comes before all others.
    """
    if not isinstance(finding, Motion):
        return ()
    rows = tables.ranges.get((finding.joint, finding.motion), ())
    return tuple(Fitting(row, tuple(_against(row, finding, person, options))) for row in rows)


def _against(row: Range, finding: Motion, person: Person, options: AssessOptions) -> list[str]:
    found = []
    if not options.allows(row.evidence):
        found.append("nobody has read it in its publication (evidence: memory)")
    if row.arm_position != (finding.arm_position or ""):
        wanted = row.arm_position or "no stated arm position"
        found.append(f"it is for {wanted}, not {finding.arm_position or 'without one'}")
    if row.mode not in (_ANY, finding.mode):
        found.append(f"it is for {row.mode} motion, not {finding.mode}")
    if row.sex not in (_ANY, person.sex):
        found.append(f"it is for sex {row.sex}, not {person.sex}")
    if person.youngest < row.age_from or person.oldest > row.age_to:
        found.append(f"it is for ages {row.age_from} to {row.age_to}, not {_age(person)}")
    return found


def _age(person: Person) -> str:
    if person.youngest == person.oldest:
        return str(person.youngest)
    return f"{person.youngest} to {person.oldest}"
