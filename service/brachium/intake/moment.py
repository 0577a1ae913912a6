"""What the clock has to say about an exam."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from brachium.intake.refusals import EFFECTIVE_AHEAD

if TYPE_CHECKING:
    from brachium.exam.findings import Exam
    from brachium.problems import Problem

# how far the clock of a clinic may be ahead of ours
ALLOWANCE = timedelta(hours=1)


def moment_problems(exam: Exam, now: str) -> tuple[Problem, ...]:
    """Return a warning when an exam was made after ``now``, a FHIR instant; our clock may err."""
    latest = datetime.fromisoformat(now) + ALLOWANCE
    if datetime.fromisoformat(exam.effective) <= latest:
        return ()
    return (EFFECTIVE_AHEAD.problem("/effective", "The examination lies in the future.", "value"),)
