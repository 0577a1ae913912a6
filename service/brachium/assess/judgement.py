"""Judge one leaf: below, within or above what is published, normal or abnormal, or nothing.

Codes are those of v3-ObservationInterpretation (FHIR R4 Observation.interpretation): L, N, H, A.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.options import AssessOptions
from brachium.assess.reference import Reference, reference
from brachium.assess.standing import Percentile, percentile_of, z_score
from brachium.assess.values import end_position, in_base_unit
from brachium.exam.findings import Motion, Sign, Strength

if TYPE_CHECKING:
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

GRADE_RULE = "strength-grade/1.0"
SIGN_RULE = "sign-present/1.0"

_HUNDREDTH, _TENTH = Decimal("0.01"), Decimal("0.1")
_PUBLISHED = AssessOptions()
_SIGN_REFERENCE = Reference(SIGN_RULE, "", ("HL7 v3-ObservationInterpretation",))


class Judgement(NamedTuple):
    """What is said about one leaf.

    ``interpretation`` is L, N, H or A, or ``None`` where no trustworthy reference lets anyone say;
    ``value`` is the number that was judged, in ``reference.unit``, if one was.
    """

    interpretation: str | None
    reference: Reference
    value: Decimal | None = None

    @property
    def is_measured(self) -> bool:
        """Tell whether a number with a unit was judged, not a grade or a sign."""
        return self.value is not None and self.reference.unit != ""

    @property
    def z(self) -> Decimal | None:
        """The value in standard deviations from the mean of its group, to a hundredth."""
        spread = self.reference.spread
        if spread is None or not spread.sd or self.value is None:
            return None
        return z_score(self.value, spread.value, spread.sd).quantize(_HUNDREDTH)

    @property
    def percentile(self) -> Percentile | None:
        """Where the value lies in its group if that is normally distributed."""
        return None if self.z is None else percentile_of(self.z)

    @property
    def deficit(self) -> Decimal | None:
        """Degrees short of the handbook's full range; 0 when it is reached."""
        book = self.reference.book
        if book is None or self.value is None:
            return None
        short = self.value - book.value if self.reference.is_end else book.value - self.value
        return max(short, Decimal(0))

    @property
    def percent(self) -> Decimal | None:
        """The value as a percentage of the handbook's full range, to a tenth; an end has none."""
        book = self.reference.book
        if book is None or self.value is None or self.reference.is_end or not book.value:
            return None
        return (self.value * 100 / book.value).quantize(_TENTH)


class Person(NamedTuple):
    """What of the patient matters for references. Ages in completed years."""

    sex: str
    youngest: int
    oldest: int


_PRESENT = Judgement("A", _SIGN_REFERENCE)
_ABSENT = Judgement("N", _SIGN_REFERENCE)


def judge(
    leaf: Leaf, person: Person, tables: Tables, options: AssessOptions = _PUBLISHED
) -> Judgement | None:
    """Return the judgement of ``leaf``, or ``None`` when it has no result or no reference."""
    finding = leaf.finding
    if finding.absent is not None:
        return None
    if isinstance(finding, Motion):
        return _motion(finding, person, tables, options)
    if isinstance(finding, Sign):
        return _PRESENT if finding.present else _ABSENT
    if isinstance(finding, Strength) and finding.grade is not None:
        return _grade(finding.joint, finding.test, finding.grade, tables)
    return None


def _motion(
    finding: Motion, person: Person, tables: Tables, options: AssessOptions
) -> Judgement | None:
    if finding.angle is not None:
        value, outside = in_base_unit(finding.angle, tables.units[finding.angle.unit]), "LH"
    elif (end := end_position(finding)) is not None:
        # both ends abnormal: "high" on a signed axis would read as "extends a lot" to some
        value, outside = end, "AA"
    else:
        return None
    arm = finding.arm_position or ""
    found = reference(
        finding.joint,
        finding.motion,
        arm,
        finding.mode,
        *person,
        tables,
        memory=options.memory_references,
    )
    return None if found is None else Judgement(_place(value, found, outside), found, value)


def _place(value: Decimal, found: Reference, outside: str) -> str | None:
    if found.low is None or found.high is None:
        return None
    if value < found.low:
        return outside[0]
    return outside[1] if value > found.high else "N"


@lru_cache(maxsize=4096)
def _grade(joint: str, test: str, grade: str, tables: Tables) -> Judgement:
    scale = tables.strength[joint, test].scale
    row = tables.scales[scale][grade]
    normal = [other for other in tables.scales[scale].values() if other.normal]
    found = Reference(GRADE_RULE, grade_text(scale, normal[0].grade), (row.source,))
    return Judgement("N" if row.normal else "A", found, row.ordinal)


def grade_text(scale: str, grade: str) -> str:
    """Return a grade with what it counts: "MRC 5", "level L1", "station 9".

    A scale named as somebody's grades is cited by that name, any other by the last word of its own.
    """
    first, _, kind = scale.rpartition("-")
    return f"{first.upper() if kind == 'grade' else kind} {grade}"
