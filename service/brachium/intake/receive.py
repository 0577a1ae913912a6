"""A new exam: from bytes to a stored first version, or to the list of what is wrong with it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from brachium.coding.options import Stamp
from brachium.coding.provenance import provenance
from brachium.intake.desk import Bench, Desk, answered
from brachium.intake.form import first_form
from brachium.intake.lifecycle import WITHDRAWN
from brachium.intake.moment import moment_problems
from brachium.intake.receipt import Outcome, Receipt
from brachium.intake.refusals import EXAM_WITHDRAWN
from brachium.records import ExamStatus, StoredResource
from brachium.store.port import Outcome as Added

if TYPE_CHECKING:
    from brachium.exam.findings import Exam
    from brachium.problems import Problem
    from brachium.records import ExamVersion

_WITHDRAWN = EXAM_WITHDRAWN.problem(
    "/identifier",
    "This exam was withdrawn; the same content does not bring it back.",
    "conflict",
)
_OUTCOMES = {
    Added.CREATED: Outcome.CREATED,
    Added.SAME: Outcome.SAME,
    Added.CONFLICT: Outcome.CONFLICT,
}


def receive(desk: Desk, raw: bytes) -> Receipt:
    """Take one exam in.

    The same identifier with the same content is answered with what is stored (EXM-03), with other
    content it is a conflict (EXM-04); the store decides both in the transaction that writes
    (EXM-05). An exam that was withdrawn is a conflict too: answering "stored" would let the sender
    believe that it holds.
    """
    examined = desk.examine(raw)
    if examined.exam is None:
        return Receipt(_unread(examined.broken), examined.problems)
    version, problems = coded(desk, examined.exam, examined.problems)
    added = desk.keep(version, None)
    outcome, stored = _OUTCOMES[added.outcome], added.exam
    if stored is None or outcome is Outcome.CONFLICT:
        return Receipt(outcome, (), stored)
    if outcome is Outcome.SAME and stored.status is WITHDRAWN:
        return Receipt(Outcome.CONFLICT, (*problems, _WITHDRAWN), stored)
    if stored.digest != version.digest:  # a late repeat: the exam has moved on since
        return Receipt(outcome, (), stored)
    return Receipt(outcome, problems, answered(stored, problems))


def dry_run(desk: Bench, raw: bytes) -> Receipt:
    """Do everything but store (EXM-07); the receipt holds the resources as they would be stored."""
    examined = desk.examine(raw)
    if examined.exam is None:
        return Receipt(_unread(examined.broken), examined.problems)
    version, problems = coded(desk, examined.exam, examined.problems)
    now = version.recorded
    resources = tuple(
        [StoredResource(one.type, one.id, 1, now, one.text(1, now)) for one in version.resources]
    )
    return Receipt(Outcome.PREVIEW, problems, version, resources)


def coded(
    desk: Bench, exam: Exam, problems: tuple[Problem, ...]
) -> tuple[ExamVersion, tuple[Problem, ...]]:
    """Return the first version of an exam with its resources, and all problems to tell."""
    recorded = desk.clock()
    status = ExamStatus(exam.status)
    stamp = Stamp(recorded=recorded, version=1, report_status=status.value)
    worked = desk.work_out(exam, stamp)
    encoded = worked.encoded
    everything = (*problems, *moment_problems(exam, recorded), *encoded.problems)
    version = desk.version(exam, everything, worked, recorded, status)
    resources = (*encoded.resources, *first_form(desk, exam, stamp))
    record = provenance(exam, resources, desk.tables, desk.coding, stamp, version.digest)
    return replace(version, resources=(*resources, record)), everything


def _unread(broken: bool) -> Outcome:
    return Outcome.BROKEN if broken else Outcome.REFUSED
