"""Which status may follow which (COR-04). Pure decisions, one table for each kind of thing.

FHIR R4 observation-status and diagnostic-report-status name the states; the steps between them are
our own convention where R4 is silent: what was final stays visible as final-and-changed, what was
withdrawn stays withdrawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from brachium.intake.refusals import (
    EXAM_IDENTIFIER_CHANGED,
    EXPECTED_VERSION_MISSING,
    FACILITY_CHANGED,
    PATIENT_CHANGED,
    REASON_MISSING,
    REASON_UNREADABLE,
    STATUS_STEP,
)
from brachium.records import ExamStatus

if TYPE_CHECKING:
    from brachium.exam.findings import Exam
    from brachium.exam.leaves import Leaf
    from brachium.problems import Listed, Problem

DRAFT, FINAL = ExamStatus.PRELIMINARY, ExamStatus.FINAL
AMENDED, CORRECTED = ExamStatus.AMENDED, ExamStatus.CORRECTED
WITHDRAWN = ExamStatus.ENTERED_IN_ERROR

# in characters; a reason is a sentence, and goes into Provenance
MAX_REASON = 1000

STEPS: Mapping[ExamStatus, frozenset[ExamStatus]] = {
    DRAFT: frozenset({DRAFT, FINAL, WITHDRAWN}),
    FINAL: frozenset({AMENDED, CORRECTED, WITHDRAWN}),
    AMENDED: frozenset({AMENDED, CORRECTED, WITHDRAWN}),
    CORRECTED: frozenset({AMENDED, CORRECTED, WITHDRAWN}),
    WITHDRAWN: frozenset(),
}

# What can change in a finding without changing what was found. A change of anything else (also of
# the side or the motion under the same key) means that the record was wrong.
QUALIFIERS = {"note", "method", "position", "limited_by"}
_KEY_AND_SIDE = {"key", "side"}  # both are in the leaf, after "both" was expanded


def may_step(old: ExamStatus, new: ExamStatus) -> bool:
    """Tell whether an exam may go from ``old`` to ``new``."""
    return new in STEPS[old]


def goal(current: ExamStatus, posted: str, change: ExamStatus) -> ExamStatus:
    """Return the status that a correction asks for.

    ``posted`` is the status in the new content; ``change`` is amended or corrected, by what
    differs. A final exam whose new content says preliminary asks for a step that does not exist.
    """
    if current is DRAFT or posted == DRAFT.value:
        return ExamStatus(posted)
    return change


def leaf_change(old: Leaf, new: Leaf) -> ExamStatus | None:
    """Return what a change of a leaf is: a result that changed is corrected, the rest amended."""
    if old.side != new.side or result(old) != result(new):
        return CORRECTED
    return AMENDED if _differ(old, new) else None


def leaf_status(change: ExamStatus | None, stored: str | None) -> str:
    """Return the Observation status of a leaf in a corrected exam.

    ``stored`` is the status of its Observation so far, ``None`` when there was none; what did not
    change keeps its status (COR-01).
    """
    if stored is None:
        return FINAL.value
    return stored if change is None else change.value


def result(leaf: Leaf) -> tuple[type, dict[str, object]]:
    """Return what was found, without the qualifiers that may be amended."""
    return type(leaf.finding), leaf.finding.model_dump(exclude=QUALIFIERS | _KEY_AND_SIDE)


def _differ(old: Leaf, new: Leaf) -> bool:
    return old.finding.model_dump(exclude=_KEY_AND_SIDE) != new.finding.model_dump(
        exclude=_KEY_AND_SIDE
    )


def change_of(changes: Iterable[ExamStatus | None], removed: bool) -> ExamStatus:
    """Return what a correction is as a whole: corrected when a result changed or went."""
    return CORRECTED if removed or CORRECTED in changes else AMENDED


def identity_problems(old: Exam, new: Exam) -> tuple[Problem, ...]:
    """Return problems for content about another exam, person or facility (COR-07, SEC-12)."""
    problems = []
    if old.identifier != new.identifier:
        problems.append(_changed(EXAM_IDENTIFIER_CHANGED, "/identifier", "exam"))
    if old.patient.identifier != new.patient.identifier:
        problems.append(_changed(PATIENT_CHANGED, "/patient/identifier", "patient"))
    if old.facility.identifier != new.facility.identifier:
        problems.append(_changed(FACILITY_CHANGED, "/facility/identifier", "facility"))
    return tuple(problems)


def _changed(row: Listed, pointer: str, what: str) -> Problem:
    return row.problem(pointer, f"A correction must keep the identifier of the {what}.")


def step_problem(old: str, new: str, pointer: str = "/status") -> Problem:
    """Return the problem of a status that cannot follow another."""
    remedies = {
        WITHDRAWN.value: "What was withdrawn stays so: use a new identifier or key.",
        DRAFT.value: "A draft can only be edited, closed or withdrawn.",
    }
    message = f"The status {new} cannot follow {old}."
    return STATUS_STEP.problem(pointer, message, remedy=remedies.get(old, ""))


def posted_step_problems(current: ExamStatus, posted: str) -> tuple[Problem, ...]:
    """Return a problem when content with status ``posted`` cannot replace a stored exam's."""
    if current is WITHDRAWN or (current is not DRAFT and posted == DRAFT.value):
        return (step_problem(current.value, posted),)
    return ()


def returning_problem(index: int) -> Problem:
    """Return the problem of a finding that was entered in error and is sent again."""
    return step_problem(WITHDRAWN.value, FINAL.value, f"/findings/{index}/key")


def reason_problems(reason: str) -> tuple[Problem, ...]:
    """Return a problem when a change says no reason, or none that can be shown (COR-01)."""
    if not reason.strip():
        message = "A change of a stored exam needs a reason."
        return (REASON_MISSING.problem("/reason", message, "required"),)
    # FHIR R4 string: no control characters but tab and line ends; narrative is XML besides
    if any((char < " " and char not in "\t\n\r") or char in "\ufffe\uffff" for char in reason):
        message = "The reason holds control characters."
        return (REASON_UNREADABLE.problem("/reason", message, "value"),)
    return ()


def expectation_problem() -> Problem:
    """Return the problem of a change that does not say which version it changes."""
    message = "A change has to name the version it changes."
    return EXPECTED_VERSION_MISSING.problem("", message, "required")
