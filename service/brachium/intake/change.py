"""What happens to a stored exam: corrected, closed, withdrawn. Always a new version, never less."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from brachium.coding.fhir import OwnUrls
from brachium.exam.canonical import canonical, digest
from brachium.intake.correction import Correction
from brachium.intake.desk import Desk, later, read_back
from brachium.intake.form import withdrawn_form
from brachium.intake.lifecycle import (
    DRAFT,
    FINAL,
    WITHDRAWN,
    expectation_problem,
    identity_problems,
    may_step,
    posted_step_problems,
    reason_problems,
    step_problem,
)
from brachium.intake.receipt import Outcome, Receipt
from brachium.intake.restate import Withdrawal
from brachium.intake.revision import withdrawn
from brachium.intake.versions import Next, priors_of, shared_of, stored

if TYPE_CHECKING:
    from brachium.exam.findings import Exam
    from brachium.problems import Problem
    from brachium.records import ExamVersion


def correct(desk: Desk, exam_id: str, raw: bytes, reason: str, expected: int | None) -> Receipt:
    """Put other content in the place of a stored exam's, as a new version (COR-01 to COR-07).

    A draft stays a draft, or is closed when the new content is final, and needs no reason; later a
    reason is compulsory. The same content again changes nothing.
    """
    current = _current(desk, exam_id, expected)
    if isinstance(current, Receipt):
        return _repeated(desk, current, raw, reason, expected)
    examined = desk.examine(raw)
    if examined.exam is None:
        outcome = Outcome.BROKEN if examined.broken else Outcome.REFUSED
        return Receipt(outcome, examined.problems)
    faults = _change_faults(current, examined.exam, reason)
    if faults:
        return Receipt(Outcome.REFUSED, (*faults, *examined.problems), current)
    if digest(canonical(examined.exam)) == current.digest:
        return Receipt(Outcome.SAME, examined.problems, current)
    return Correction(desk, current, examined.exam, examined.problems, reason.strip()).made()


def close(desk: Desk, exam_id: str, expected: int | None) -> Receipt:
    """Make a draft final (EXM-14), checked once more by the rules that hold now."""
    current = _current(desk, exam_id, expected)
    if isinstance(current, Receipt):
        return current
    if current.status is not DRAFT:
        fault = step_problem(current.status.value, FINAL.value)
        return Receipt(Outcome.REFUSED, (fault,), current)
    final = read_back(current.content).model_copy(update={"status": FINAL.value})
    return correct(desk, exam_id, canonical(final), "", expected)


def withdraw(desk: Desk, exam_id: str, reason: str, expected: int | None) -> Receipt:
    """Enter everything of an exam in error, in one transaction; its content is kept (COR-02)."""
    current = _current(desk, exam_id, expected)
    if isinstance(current, Receipt):
        done = current.exam
        is_repeat = done and done.status is WITHDRAWN and _is_next(done, reason, expected)
        return Receipt(Outcome.SAME, (), done) if is_repeat else current
    faults = reason_problems(reason)
    if not may_step(current.status, WITHDRAWN):
        faults = (*faults, step_problem(current.status.value, WITHDRAWN.value))
    if faults:
        return Receipt(Outcome.REFUSED, faults, current)
    return _withdrawn(desk, current, reason.strip())


def _withdrawn(desk: Desk, current: ExamVersion, reason: str) -> Receipt:
    exam = read_back(current.content)
    rows = desk.store.resources(current.id, current.version)
    url = OwnUrls(desk.coding.canonical).definition("exam-status")
    resources = withdrawn(priors_of(rows), Withdrawal(reason, exam.status, url))
    version = replace(
        current,
        version=current.version + 1,
        status=WITHDRAWN,
        recorded=later(desk.clock(), current.recorded),
        reason=reason,
    )
    everything = (*shared_of(rows), *resources, *withdrawn_form(desk, rows, version))
    following = Next(version, exam, everything, "nullify", ())
    return stored(desk, rows, following)


def _current(desk: Desk, exam_id: str, expected: int | None) -> ExamVersion | Receipt:
    """Return the version to change, or the receipt that says why there is none to change."""
    current = desk.store.exam(exam_id, None)
    if current is None:
        return Receipt(Outcome.MISSING)
    if expected is None:
        return Receipt(Outcome.REFUSED, (expectation_problem(),), current)
    if expected != current.version:
        return Receipt(Outcome.STALE, (), current)
    return current


def _repeated(desk: Desk, stale: Receipt, raw: bytes, reason: str, expected: int | None) -> Receipt:
    """Recognise a correction that was carried out already and whose answer was lost.

    A server may say so in place of 412 (RFC 9110 13.1.1). Another content or reason is another
    change, and what happened since the change makes it stale all the same.
    """
    done = stale.exam
    if done is None or not _is_next(done, reason, expected):
        return stale
    examined = desk.examine(raw)
    if examined.exam is None or digest(canonical(examined.exam)) != done.digest:
        return stale
    return Receipt(Outcome.SAME, examined.problems, done)


def _is_next(current: ExamVersion, reason: str, expected: int | None) -> bool:
    return expected == current.version - 1 and reason.strip() == current.reason != ""


def _change_faults(current: ExamVersion, exam: Exam, reason: str) -> tuple[Problem, ...]:
    faults = identity_problems(read_back(current.content), exam)
    faults += posted_step_problems(current.status, exam.status)
    return faults if current.status is DRAFT else (*faults, *reason_problems(reason))
