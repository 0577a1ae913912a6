"""Exams that come in as filled-in forms (SDC-01): created, corrected, withdrawn.

A form is the exam: its id stays the same in all versions, and its version is the exam's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from brachium.coding.fhir import OwnUrls
from brachium.coding.identity import exam_id
from brachium.coding.response import TYPE, response_id
from brachium.coding.response_reading import ReadResponse, read_response
from brachium.exam.canonical import canonical, digest
from brachium.exam.findings import Identifier
from brachium.formats.incoming import identity_of, parse, placed
from brachium.intake import change, receive
from brachium.intake.desk import Desk, read_back
from brachium.intake.lifecycle import MAX_REASON, expectation_problem
from brachium.intake.receipt import Outcome, Receipt
from brachium.intake.refusals import NOT_A_FORM, NOT_KEPT
from brachium.intake.restate import IN_ERROR

if TYPE_CHECKING:
    from brachium.problems import Problem
    from brachium.records import ExamVersion, StoredResource

Json = dict[str, Any]
REASON = "change-reason"


class Filled(NamedTuple):
    """What became of a form: the receipt, and the form as it is stored now.

    Problems have their places in the form.
    """

    receipt: Receipt
    row: StoredResource | None = None


def create(desk: Desk, resource: Json, condition: Sequence[Identifier] | None) -> Filled:
    """Take a form in as a new exam; ``condition`` are the identifiers of If-None-Exist.

    FHIR R4 http 3.1.0.8.1: none stored creates, one is answered as it is, several are refused.
    The store decides between two that come at the same moment (WRT-03).
    """
    found = _matches(desk, condition or ())
    if found:
        return _found(desk, found)
    filled = _received(desk, _read(desk, resource))
    if filled.receipt.outcome is Outcome.CONFLICT and condition:
        # another came first with what the condition asks for
        found = _matches(desk, condition)
    return _found(desk, found) if found else filled


def update(desk: Desk, form_id: str, resource: Json, expected: int | None) -> Filled:
    """Correct or withdraw the exam of a stored form, as a new version."""
    row = desk.store.read(TYPE, form_id)
    if row is None:
        return Filled(Receipt(Outcome.MISSING))
    return _changed(desk, row, resource, expected)


def put(
    desk: Desk, condition: Sequence[Identifier], resource: Json, expected: int | None
) -> Filled:
    """Update the form that the condition finds, or create it (FHIR R4 http 3.1.0.4.3).

    The same content again needs no version; anything else is a change of a version.
    """
    found = _matches(desk, condition)
    if not found:
        return _received(desk, _read(desk, resource))
    if len(found) > 1:
        return Filled(Receipt(Outcome.SEVERAL))
    return _changed(desk, found[0], resource, expected)


def extracted(desk: Desk, resource: Json) -> Receipt:
    """Say what a form would become, and store nothing."""
    read = _read(desk, resource)
    if read.exam is None:
        return Receipt(Outcome.REFUSED, read.problems)
    receipt = receive.dry_run(replace(desk, form=True), read.content())
    return replace(receipt, problems=(*read.problems, *read.placed(receipt.problems)))


def _read(desk: Desk, resource: Json) -> ReadResponse:
    return read_response(resource, desk.tables, desk.coding.canonical)


def _matches(desk: Desk, condition: Sequence[Identifier]) -> list[StoredResource]:
    rows = (desk.store.read(TYPE, response_id(by)) for by in dict.fromkeys(condition))
    return [row for row in rows if row is not None]


def _found(desk: Desk, found: Sequence[StoredResource]) -> Filled:
    if len(found) > 1:
        return Filled(Receipt(Outcome.SEVERAL))
    return Filled(Receipt(Outcome.SAME, (), _exam_of(desk, found[0])), found[0])


def _exam_of(desk: Desk, row: StoredResource) -> ExamVersion | None:
    by = identity_of(parse(row.text))
    if by is None:
        raise RuntimeError("a stored form has an identifier")
    return desk.store.exam(exam_id(Identifier(system=by.system, value=by.value)), row.version)


def _received(desk: Desk, read: ReadResponse) -> Filled:
    if read.exam is None:
        return Filled(Receipt(Outcome.REFUSED, read.problems))
    receipt = receive.receive(replace(desk, form=True), read.content())
    return _told(desk, read, receipt)


def _told(desk: Desk, read: ReadResponse, receipt: Receipt) -> Filled:
    """Add the form as it is stored now, and put the problems into the form that was sent."""
    problems = tuple(_reason_placed(one) for one in read.placed(receipt.problems))
    receipt = replace(receipt, problems=(*read.problems, *problems))
    if receipt.exam is None or receipt.outcome not in _DONE:
        return Filled(receipt if problems else replace(receipt, problems=()))
    rows = desk.store.resources(receipt.exam.id, receipt.exam.version)
    row = next((one for one in rows if one.type == TYPE), None)
    if row is None:
        problem = NOT_A_FORM.problem("", NOT_A_FORM.title, "conflict")
        fault = placed(problem, f"{TYPE}.identifier")
        return Filled(Receipt(Outcome.CONFLICT, (fault,), receipt.exam))
    return Filled(receipt, row)


_DONE = frozenset({Outcome.CREATED, Outcome.CHANGED, Outcome.SAME})


def _reason_placed(problem: Problem) -> Problem:
    at_reason = problem.pointer == "/reason"
    return placed(problem, f"{TYPE}.extension") if at_reason else problem


def _changed(desk: Desk, row: StoredResource, resource: Json, expected: int | None) -> Filled:
    current = _exam_of(desk, row)
    if current is None:
        raise RuntimeError("a stored form has its exam")
    told = _Told.of(resource, desk.coding.canonical)
    read = _read(desk, told.resource)
    if read.exam is None:
        return Filled(Receipt(Outcome.REFUSED, read.problems))
    if expected is None:
        return _unconditional(desk, current, read)
    if read.status == IN_ERROR:
        fault = _changed_besides(desk, current, read)
        if fault is not None:
            return Filled(Receipt(Outcome.REFUSED, (fault,), current))
        return _told(desk, read, change.withdraw(desk, current.id, told.reason, expected))
    raw = read.content()
    return _told(desk, read, change.correct(desk, current.id, raw, told.reason, expected))


def _unconditional(desk: Desk, current: ExamVersion, read: ReadResponse) -> Filled:
    exam = desk.examine(read.content()).exam
    withdrawn = current.status.value == IN_ERROR
    if exam and digest(canonical(exam)) == current.digest and not withdrawn:
        return _told(desk, read, Receipt(Outcome.SAME, (), current))
    return Filled(Receipt(Outcome.REFUSED, (expectation_problem(),), current))


def _changed_besides(desk: Desk, current: ExamVersion, read: ReadResponse) -> Problem | None:
    """Return the problem of a withdrawal that changes answers too: they would be lost."""
    exam = desk.examine(read.content()).exam
    before = read_back(current.content)
    if exam and canonical(exam.model_copy(update={"status": before.status})) == current.content:
        return None
    message = "A withdrawal keeps the answers as they were, and these are others."
    return placed(NOT_KEPT.problem("", message), f"{TYPE}.item")


@dataclass(frozen=True, slots=True)
class _Told:
    """A form without the reason of the change beside its answers, and the reason."""

    resource: Json
    reason: str

    @classmethod
    def of(cls, resource: Json, base: str) -> _Told:
        """Take the reason off; what is not well formed stays, and is refused by its reader."""
        url = OwnUrls(base).definition(REASON)
        given = resource.get("extension")
        extensions = given if isinstance(given, list) else []
        reasons = [one for one in extensions if _is_reason(one, url)]
        if len(reasons) != 1:
            return cls(resource, "")
        rest = [one for one in extensions if one is not reasons[0]]
        without = {name: one for name, one in resource.items() if name != "extension"}
        return cls({**without, **({"extension": rest} if rest else {})}, reasons[0]["valueString"])


def _is_reason(extension: object, url: str) -> bool:
    if not isinstance(extension, dict) or extension.keys() != {"url", "valueString"}:
        return False
    text = extension["valueString"]
    return bool(extension["url"] == url) and isinstance(text, str) and len(text) <= MAX_REASON
