"""Rules about the head of an exam: its moment and the patient's date of birth."""

from __future__ import annotations

from brachium.exam.dates import ages, real_day, real_moment
from brachium.exam.rule import OWN, Case, Check, Found, Founds, Rule
from brachium.problems import Severity

OLDEST_AGE = 120


def check_effective(case: Case) -> Founds:
    """The moment of the examination exists (EXM-13)."""
    effective = case.person.effective
    if effective is None or real_moment(effective):
        return []
    return [Found("/effective", "This date, time or offset does not exist.")]


def check_birth_date(case: Case) -> Founds:
    """The day of birth is in the calendar."""
    birth = case.person.birth_date
    if birth is None or real_day(birth):
        return []
    return [Found("/patient/birthDate", "This date does not exist.")]


def check_born_before(case: Case) -> Founds:
    """Nobody is examined before birth."""
    birth, effective = case.person.birth_date, case.person.effective
    if birth is None or effective is None or not (real_day(birth) and real_moment(effective)):
        return []
    if ages(birth, effective) is not None:
        return []
    return [Found("/patient/birthDate", "The birth date is after the examination.")]


def check_age(case: Case) -> Founds:
    """Nobody so far was examined at more than 120 years."""
    span = case.person.ages
    if span is None or span[0] <= OLDEST_AGE:
        return []
    return [Found("/patient/birthDate", f"The patient would be older than {OLDEST_AGE} years.")]


def _rule(code: str, title: str, severity: Severity, check: Check, source: str) -> Rule:
    return Rule(
        code,
        title,
        severity,
        "value",
        source,
        "Ages, limits and the order of exams rest on these dates.",
        "Check the dates; the offset is the one of the place of the examination.",
        "exam",
        check,
    )


_R4 = "FHIR R4 datatypes date and dateTime"

RULES: tuple[Rule, ...] = (
    _rule("effective-unreal", "Moment that does not exist", Severity.ERROR, check_effective, _R4),
    _rule("birth-date-unreal", "Day that does not exist", Severity.ERROR, check_birth_date, _R4),
    _rule("born-after-exam", "Born after the exam", Severity.ERROR, check_born_before, OWN),
    _rule("age-unusual", "Unusual age", Severity.WARNING, check_age, OWN),
)
