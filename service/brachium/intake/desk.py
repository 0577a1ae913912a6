"""The intake desk: what every way in needs, and the steps that they share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

import jiter

from brachium.assess.assessment import assess
from brachium.assess.told import told
from brachium.coding.encode import encode
from brachium.coding.identity import exam_id, party_id
from brachium.coding.periods import instant
from brachium.exam.canonical import canonical, digest
from brachium.exam.findings import Exam
from brachium.exam.leaves import leaves
from brachium.exam.reading import Examined, examine
from brachium.intake.notices import written
from brachium.intake.refusals import FACILITY_ELSEWHERE
from brachium.records import ExamStatus, ExamVersion

if TYPE_CHECKING:
    from brachium.assess.options import AssessOptions
    from brachium.coding.options import CodingOptions, Encoded, Stamp
    from brachium.exam.rule import ModelOptions
    from brachium.problems import Problem
    from brachium.records import Occasion
    from brachium.store.port import Added, Store
    from brachium.tables.load import Tables

Clock = Callable[[], str]


class Worked(NamedTuple):
    """A coded exam, and what an answer tells of its assessment, as JSON text.

    ``shown`` names the prompts in it by rule and version, each once however often it is shown.
    """

    encoded: Encoded
    assessment: bytes
    shown: tuple[str, ...]


@dataclass(frozen=True)
class Bench:
    """What it takes to check and code an exam, without a store.

    ``clock`` returns the present as a FHIR instant in UTC with milliseconds; ``form`` tells whether
    the exam came in as a filled-in form, which is then kept with it. ``whose`` returns the id of
    the only Organization whose exams may come in, or empty for any.
    """

    tables: Tables
    clock: Clock
    model: ModelOptions
    coding: CodingOptions
    judging: AssessOptions
    form: bool = field(default=False, kw_only=True)
    whose: Callable[[], str] = field(default=lambda: "", kw_only=True)

    def examine(self, raw: bytes) -> Examined:
        """Read and check a posted exam; one of another organization is refused (SEC-12)."""
        examined = examine(raw, self.tables, self.model)
        if examined.exam is None or self.whose() in ("", organization_of(examined.exam)):
            return examined
        return Examined(None, (elsewhere_problem(), *examined.problems))

    def work_out(self, exam: Exam, stamp: Stamp) -> Worked:
        """Judge and code a checked exam."""
        found = leaves(exam, self.tables)
        assessment = assess(exam, found, self.tables, self.judging)
        encoded = encode(exam, found, assessment, self.tables, self.coding, stamp)
        shown = tuple(dict.fromkeys(prompt.rule for prompt in assessment.prompts))
        return Worked(encoded, told(found, assessment, self.tables), shown)

    def version(
        self,
        exam: Exam,
        problems: tuple[Problem, ...],
        worked: Worked,
        recorded: str,
        status: ExamStatus,
    ) -> ExamVersion:
        """Return the first version of an exam, without its resources.

        Pointers of the stored problems lead into the stored content, whose findings are sorted.
        """
        content = canonical(exam)
        return ExamVersion(
            id=exam_id(exam.identifier),
            system=exam.identifier.system,
            value=exam.identifier.value,
            version=1,
            status=status,
            recorded=recorded,
            content=content,
            digest=digest(content),
            problems=written(problems, stored_places(exam)),
            edition=self.tables.edition,
            assessment=worked.assessment,
            shown=worked.shown,
            organization=organization_of(exam),
        )


@dataclass(frozen=True)
class Desk(Bench):
    """A bench with the store that keeps what is accepted.

    ``occasion`` says who asked for what; the store notes it beside the attempt (ERR-06).
    ``look`` sees what is about to be stored and may raise, so that nothing is.
    """

    store: Store
    occasion: Occasion | None = None
    look: Callable[[ExamVersion], None] | None = None

    def serving(self, occasion: Occasion | None) -> Desk:
        """Return this desk for one request."""
        return replace(self, occasion=occasion) if occasion else self

    def keep(self, version: ExamVersion, expected: int | None) -> Added:
        """Store an exam version, unless whoever looks at it first objects."""
        if self.look is not None:
            self.look(version)
        return self.store.add(version, expected, self.occasion)


def organization_of(exam: Exam) -> str:
    """Return the id of the Organization that an exam belongs to: its facility."""
    return party_id("Organization", exam.facility.identifier)


def elsewhere_problem() -> Problem:
    """Return the problem of an exam that the sender's organization did not make."""
    return FACILITY_ELSEWHERE.problem("/facility/identifier", FACILITY_ELSEWHERE.title)


def stored_places(exam: Exam) -> dict[int, int]:
    """Return where each posted finding stands in the canonical content."""
    order = sorted(range(len(exam.findings)), key=lambda index: exam.findings[index].key)
    return {posted: stored for stored, posted in enumerate(order)}


def answered(stored: ExamVersion, problems: tuple[Problem, ...]) -> ExamVersion:
    """Return a stored version as an answer: the pointers lead into what was just posted."""
    return replace(stored, problems=written(problems))


def read_back(content: bytes) -> Exam:
    """Return the exam of stored canonical content; it was checked when it came in."""
    return Exam.model_validate(jiter.from_json(content, float_mode="decimal"))


def later(now: str, before: str) -> str:
    """Return ``now``, or a millisecond after ``before`` when the clock has not moved on.

    Versions of a resource must be in the order of their times (FHIR R4 Resource.meta.lastUpdated).
    """
    earliest = datetime.fromisoformat(before) + timedelta(milliseconds=1)
    return instant(max(datetime.fromisoformat(now), earliest).astimezone(UTC))
