"""What one exam says about each measure that can be followed from exam to exam.

Only the newest content of an exam is read. What could not be measured is told as a gap, with its
reason; nothing is put in its place.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.assessment import person_of
from brachium.assess.measured import value_of
from brachium.assess.tested import in_kilograms
from brachium.assess.wording import result
from brachium.exam.findings import Motion, Strength

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from brachium.assess.judgement import Person
    from brachium.exam.findings import Exam
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

MOTION, STRENGTH = "motion", "strength"
# what the mean of some trials, or a unit with an endless fraction, must not push across a limit
_EXACT = Decimal("0.000001")


class Visit(NamedTuple):
    """One exam of a patient, as far as comparing needs it.

    ``status`` is that of the newest version, ``effective`` a FHIR R4 dateTime with offset,
    ``examiner`` system and value of an identifier; ``provisional`` marks a preliminary exam.
    """

    exam: str
    version: int
    status: str
    effective: str
    examiner: tuple[str, str]
    person: Person
    provisional: bool


class Matter(NamedTuple):
    """What is measured: the motion or strength test (``kind``, ``item``) of one side."""

    joint: str
    digit: str
    side: str
    kind: str
    item: str


class Way(NamedTuple):
    """How it is measured; empty where nothing was stated and no default is named for it."""

    mode: str
    arm_position: str
    method: str
    position: str


class Taken(NamedTuple):
    """One measure of one exam.

    ``value`` is in degrees (an end of extension flexion-positive), in the base unit of a distance
    or force (mean of ``trials``), or the ordinal of a grade; ``None`` is a gap. ``said`` is the
    result in words, or why there is none.
    """

    visit: Visit
    finding: str
    value: Decimal | None
    said: str
    trials: int = 0


class Reading(NamedTuple):
    """A measure with what it is about, and the leaf it was read from."""

    matter: Matter
    way: Way
    taken: Taken
    leaf: Leaf


class Wanted(NamedTuple):
    """Which measures are asked for; empty means all. A motion and a test may both be named."""

    joint: str = ""
    motion: str = ""
    test: str = ""
    side: str = ""

    def includes(self, finding: Motion | Strength, side: str) -> bool:
        """Tell whether a finding on one side is asked for."""
        if (self.joint and finding.joint != self.joint) or (self.side and side != self.side):
            return False
        if not self.motion and not self.test:
            return True
        if isinstance(finding, Motion):
            return finding.motion == self.motion
        return finding.test == self.test


def visit_of(exam: Exam, identity: str, version: int, status: str, draft: str) -> Visit:
    """Return an exam as a visit; ``draft`` is the status of preliminary exams."""
    examiner = exam.examiner.identifier
    return Visit(
        exam=identity,
        version=version,
        status=status,
        effective=exam.effective,
        examiner=(examiner.system, examiner.value),
        person=person_of(exam),
        provisional=status == draft,
    )


def readings(
    visit: Visit, leaves: Iterable[Leaf], wanted: Wanted, tables: Tables
) -> Iterator[Reading | str]:
    """Yield every wanted measure of an exam; for one that the tables do not know, its leaf key."""
    for leaf in leaves:
        finding = leaf.finding
        if isinstance(finding, Motion | Strength) and wanted.includes(finding, leaf.side):
            try:
                yield _reading(visit, leaf, finding, tables)
            except KeyError:
                # a word of an edition of the tables that is gone: it cannot be understood any more
                yield leaf.key


def _reading(visit: Visit, leaf: Leaf, finding: Motion | Strength, tables: Tables) -> Reading:
    digit = finding.digit or ""
    method, position = finding.method or "", finding.position or ""
    if isinstance(finding, Motion):
        measure = tables.motions[finding.joint, finding.motion].measure
        matter = Matter(finding.joint, digit, leaf.side, MOTION, finding.motion)
        arm = finding.arm_position or ""
        method = method or default_method(MOTION, measure, tables)
        way = Way(finding.mode, arm, method, position)
        taken = Taken(visit, leaf.key, value_of(finding, tables), result(leaf, tables))
    else:
        measure = tables.strength[finding.joint, finding.test].measure
        matter = Matter(finding.joint, digit, leaf.side, STRENGTH, finding.test)
        way = Way("", "", method or default_method(STRENGTH, measure, tables), position)
        value = _strength(finding, tables)
        taken = Taken(visit, leaf.key, value, result(leaf, tables), len(finding.trials))
    return Reading(matter, way, taken, leaf)


def _strength(finding: Strength, tables: Tables) -> Decimal | None:
    if finding.absent is not None:
        return None
    if finding.grade is not None:
        scale = tables.strength[finding.joint, finding.test].scale
        return tables.scales[scale][finding.grade].ordinal
    trials = [in_kilograms(trial, tables).quantize(_EXACT) for trial in finding.trials]
    return (sum(trials, Decimal(0)) / len(trials)).quantize(_EXACT) if trials else None


@lru_cache(maxsize=64)
def default_method(kind: str, measure: str, tables: Tables) -> str:
    """Return the method that goes out when none was stated: to state it says no more (OBS-12)."""
    for row in tables.methods.values():
        if row.default and kind in row.kinds and measure in (row.measures or ("",)):
            return row.method
    return ""
