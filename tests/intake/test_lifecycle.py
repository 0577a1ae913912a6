"""Which status may follow which, as a table and through the intake."""

from __future__ import annotations

import itertools

import pytest
from tests.intake.desks import intake
from tests.intake.exams import exam, finding, raw

from brachium.intake.lifecycle import STEPS, goal, may_step
from brachium.intake.receipt import Outcome
from brachium.records import ExamStatus

ALLOWED = {
    ("preliminary", "preliminary"),
    ("preliminary", "final"),
    ("preliminary", "entered-in-error"),
    ("final", "amended"),
    ("final", "corrected"),
    ("final", "entered-in-error"),
    ("amended", "amended"),
    ("amended", "corrected"),
    ("amended", "entered-in-error"),
    ("corrected", "amended"),
    ("corrected", "corrected"),
    ("corrected", "entered-in-error"),
}


@pytest.mark.parametrize(("old", "new"), list(itertools.product(ExamStatus, repeat=2)))
def test_cor_04_only_the_listed_steps_are_allowed(old, new) -> None:
    assert may_step(old, new) is ((old.value, new.value) in ALLOWED)


def test_cor_04_every_status_has_a_row() -> None:
    assert set(STEPS) == set(ExamStatus)


@pytest.mark.parametrize("current", list(ExamStatus))
@pytest.mark.parametrize("posted", ["preliminary", "final"])
def test_cor_04_a_goal_is_always_a_status_that_the_table_judges(current, posted) -> None:
    assert goal(current, posted, ExamStatus.AMENDED) in set(ExamStatus)


def statuses_after(*steps: str) -> list[tuple[Outcome, str]]:
    """Take a final exam through steps and return the outcome and the status after each."""
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    told = []
    for number, step in enumerate(steps):
        version = desk.desk.store.exam(exam_id).version
        changed = exam(status="preliminary" if step == "reopen" else "final")
        finding(changed, "abduction-r")["angle"]["value"] = 140 + number
        receipt = {
            "withdraw": lambda: desk.withdraw(exam_id, "why", version),  # noqa: B023
            "close": lambda: desk.close(exam_id, version),  # noqa: B023
        }.get(step, lambda: desk.correct(exam_id, raw(changed), "why", version))()  # noqa: B023
        told.append((receipt.outcome, desk.desk.store.exam(exam_id).status.value))
    return told


def test_cor_04_final_never_becomes_preliminary_again() -> None:
    assert statuses_after("reopen") == [(Outcome.REFUSED, "final")]
    assert statuses_after("correct", "reopen")[1] == (Outcome.REFUSED, "corrected")


@pytest.mark.parametrize("step", ["correct", "reopen", "close", "withdraw"])
def test_cor_04_nothing_follows_a_withdrawal(step) -> None:
    assert statuses_after("withdraw", step)[1] == (Outcome.REFUSED, "entered-in-error")


def test_cor_04_a_final_exam_cannot_be_closed() -> None:
    assert statuses_after("close") == [(Outcome.REFUSED, "final")]


def test_cor_04_a_forbidden_step_is_named_by_its_code() -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    reopened = desk.correct(exam_id, raw(exam(status="preliminary")), "why", 1)
    closed = desk.close(exam_id, 1)
    desk.withdraw(exam_id, "why", 1)
    again = desk.withdraw(exam_id, "why", 2)
    for receipt in (reopened, closed, again):
        assert [problem.code for problem in receipt.problems] == ["status-step"]
        assert receipt.problems[0].issue_type == "business-rule"
