"""The exam as a clinic app posts it: shapes only, no medicine.

Every model refuses unknown members (EXM-11) and is frozen. Member names are camelCase in JSON and
snake_case here. Decimals keep the digits they were written with. Which joints, motions, sites,
signs and tests exist is data (mappings/model), checked by :mod:`brachium.exam.model`.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PlainValidator,
    StrictBool,
    StringConstraints,
    WithJsonSchema,
)
from pydantic.alias_generators import to_camel

from brachium.exam.numbers import plain_number, rating

Word = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=64)]
Key = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
# No control characters except tab and line ends (FHIR R4 string), and something to read in it.
NOTE_PATTERN = (
    r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*[^\u0000-\u0020\u007f-\u00a0]"
    r"[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*$"
)
# Kept exactly as written
Note = Annotated[str, StringConstraints(pattern=NOTE_PATTERN, max_length=4000)]
# Decimal with the digits that were posted; see brachium.exam.numbers for what is refused.
Number = Annotated[Decimal, PlainValidator(plain_number), WithJsonSchema({"type": "number"})]
Rating = Annotated[Decimal, PlainValidator(rating), WithJsonSchema({"type": "number"})]
# FHIR R4 dateTime to at least the second, offset compulsory (EXM-13)
Moment = Annotated[
    str,
    StringConstraints(
        pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d{1,9})?(Z|[+-]\d{2}:\d{2})$"
    ),
]
BirthDate = Annotated[str, StringConstraints(pattern=r"^\d{4}(-\d{2}(-\d{2})?)?$")]
MOST_LIMITERS = 20
MOST_TRIALS = 20
Limiters = Annotated[tuple[Word, ...], Field(max_length=MOST_LIMITERS)]
Side = Literal["left", "right", "both"]


class _Shape(BaseModel):
    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=to_camel, populate_by_name=True
    )


class Identifier(_Shape):
    """A business identifier: an absolute URI for the system, and a value within it."""

    system: Annotated[str, StringConstraints(pattern=r"^(https?://|urn:)\S+$", max_length=255)]
    value: Annotated[str, StringConstraints(pattern=r"^\S(.*\S)?$", max_length=255)]


class Patient(_Shape):
    """The person examined: identifier, and the three facts the model needs."""

    identifier: Identifier
    birth_date: BirthDate
    sex: Literal["male", "female", "other", "unknown"]
    dominant_hand: Literal["right", "left", "ambidextrous", "unknown"]


class Party(_Shape):
    """An examiner, a facility or an encounter, by identifier."""

    identifier: Identifier


class Quantity(_Shape):
    """A measured value with its unit; units are the words of mappings/model/units.csv."""

    value: Number
    unit: Annotated[str, StringConstraints(min_length=1, max_length=16)]


class Converted(Quantity):
    """A quantity that the service converted (EXM-12).

    ``value`` and ``unit`` are the converted ones, ``original`` is what was posted. No posted exam
    can hold one; only the reading makes them, and the canonical text holds the original.
    """

    original: Quantity


class Absent(_Shape):
    """Why a finding has no result (EXM-15); ``because`` is a limiter such as pain."""

    reason: Literal["not-tested", "declined", "not-applicable", "not-examined"]
    because: Word | None = None


class _Finding(_Shape):
    key: Key
    joint: Word
    side: Side
    digit: Word | None = None
    absent: Absent | None = None
    note: Note | None = None


class Sign(_Finding):
    """Something seen (``inspection``) or felt (``palpation``) at a site of a joint.

    ``severity`` is a 0-10 rating and belongs to signs that the table rates; ``present`` is then
    derived by nobody: both are stated.
    """

    kind: Literal["inspection", "palpation"]
    site: Word
    sign: Word
    present: StrictBool | None = None
    severity: Rating | None = None


class Motion(_Finding):
    """How far a joint moves: exactly one of angle, end, grade or distance, as the table says.

    ``end`` is for extension of joints that end straight, with ``magnitude`` for how far short of or
    beyond straight; a signed extension does not exist. ``grade`` is a code of the motion's scale
    (vertebral level, opposition station, fist).
    """

    kind: Literal["motion"]
    motion: Word
    mode: Literal["active", "passive"]
    angle: Quantity | None = None
    end: Literal["short-of-straight", "straight", "beyond-straight"] | None = None
    magnitude: Quantity | None = None
    grade: str | None = Field(default=None, max_length=32)
    distance: Quantity | None = None
    arm_position: Word | None = None
    method: Word | None = None
    position: Word | None = None
    limited_by: Limiters = ()


class Strength(_Finding):
    """How strong: a grade of the test's scale, or every trial of a dynamometer in order."""

    kind: Literal["strength"]
    test: Word
    grade: str | None = Field(default=None, max_length=32)
    trials: Annotated[tuple[Quantity, ...], Field(max_length=MOST_TRIALS)] = ()
    method: Word | None = None
    position: Word | None = None
    limited_by: Limiters = ()


class Part(_Finding):
    """A whole part of a joint recorded at once, without inventing measurements."""

    kind: Literal["part"]
    part: Literal["inspection", "motion", "palpation", "strength"]
    outcome: Literal["no-abnormality"] | None = None


Finding = Annotated[Sign | Motion | Strength | Part, Field(discriminator="kind")]


class Exam(_Shape):
    """One examination of a patient's arms."""

    identifier: Identifier
    status: Literal["preliminary", "final"]
    effective: Moment
    patient: Patient
    examiner: Party
    facility: Party
    encounter: Party | None = None
    note: Note | None = None
    findings: Annotated[tuple[Finding, ...], Field(min_length=1, max_length=2000)]
