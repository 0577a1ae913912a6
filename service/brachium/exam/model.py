"""The motion and strength model: every rule in one table, and the check of an exam against it."""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING, Any

from brachium.exam import contradictions, forms, header, limits, patterns, vocabulary, wholes
from brachium.exam.dates import ages
from brachium.exam.findings import Exam, Finding, Motion, Part, Quantity, Sign, Strength
from brachium.exam.rule import (
    EVERY_KIND,
    Case,
    Found,
    Memory,
    ModelOptions,
    Person,
    Rule,
)
from brachium.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Callable

    from brachium.tables.load import Tables

__all__ = ["RULES", "ModelOptions", "Rule", "check", "check_case", "person"]

RULES: tuple[Rule, ...] = (
    *header.RULES,
    *vocabulary.RULES,
    *forms.RULES,
    *limits.RULES,
    *contradictions.RULES,
    *wholes.RULES,
    *patterns.RULES,
)

_BY_KIND = {
    kind: tuple(rule for rule in RULES if rule.scope == "finding" and kind in rule.kinds)
    for kind in EVERY_KIND
}
_EXAM = tuple(rule for rule in RULES if rule.scope == "exam")

_MOST_MEMORIES = 8
_memories: dict[tuple[int, ModelOptions], tuple[Tables, Memory]] = {}


def check(exam: Exam, tables: Tables, options: ModelOptions) -> list[Problem]:
    """Return every problem that the rules find, in order of the findings."""
    who = person(
        exam.effective,
        exam.patient.birth_date,
        exam.patient.sex,
        exam.patient.dominant_hand,
    )
    return check_case(who, tuple(enumerate(exam.findings)), tables, options)


def person(
    effective: str | None, birth_date: str | None, sex: str | None, dominant: str | None
) -> Person:
    """Gather what the rules need of the patient; ages are worked out when both dates allow."""
    span = ages(birth_date, effective) if birth_date and effective else None
    return Person(effective, birth_date, sex, dominant, span)


def check_case(
    who: Person,
    findings: tuple[tuple[int, Finding], ...],
    tables: Tables,
    options: ModelOptions,
) -> list[Problem]:
    """Check the readable findings of an exam; each comes with its index in the posted array."""
    memory = _memory(tables, options)
    case = Case(tables, options, who, findings, memory)
    problems: list[Problem] = []
    silent, about = memory.silent, (who.sex, who.ages)
    for index, finding in findings:
        seen = (signature(finding), about)
        if seen in silent:
            continue
        count = len(problems)
        _apply(_BY_KIND[finding.kind], case, index, finding, problems)
        if len(problems) == count:
            memory.keep(seen)
    for rule in _EXAM:
        problems.extend(_problem(rule, found, "") for found in rule.check(case))
    return problems


def _apply(
    rules: tuple[Rule, ...], case: Case, index: int, finding: Finding, problems: list[Problem]
) -> None:
    for rule in rules:
        for found in rule.check(case, finding):
            problems.append(_problem(rule, found, f"/findings/{index}"))  # noqa: PERF401


def _problem(rule: Rule, found: Found, at: str) -> Problem:
    return Problem(
        rule.code,
        rule.severity,
        at + found.pointer,
        found.message,
        found.remedy or rule.remedy,
        found.source or rule.source,
        rule.issue_type,
    )


_HEAD = ("kind", "joint", "side", "digit", "absent")
_SEEN: dict[type[Finding], Callable[[dict[str, Any]], tuple[Any, ...]]] = {
    Motion: itemgetter(
        *_HEAD, "motion", "mode", "arm_position", "end", "grade", "method", "position", "limited_by"
    ),
    Sign: itemgetter(*_HEAD, "site", "sign", "present", "severity"),
    Strength: itemgetter(*_HEAD, "test", "grade", "method", "position", "limited_by"),
    Part: itemgetter(*_HEAD, "part", "outcome"),
}


def signature(finding: Finding) -> tuple[Any, ...]:
    """Return everything that the rules about one finding can see of it.

    Key and note are not part of it. Two findings with the same signature get the same answers from
    those rules for patients of the same sex and age.
    """
    words = _SEEN[type(finding)](finding.__dict__)
    if isinstance(finding, Motion):
        if finding.angle is not None:
            words += _numbers(finding.angle)
        if finding.magnitude is not None:
            words += ("magnitude", *_numbers(finding.magnitude))
        if finding.distance is not None:
            words += ("distance", *_numbers(finding.distance))
    elif isinstance(finding, Strength):
        words += tuple(_numbers(trial) for trial in finding.trials)
    return words


def _numbers(quantity: Quantity) -> tuple[Any, ...]:
    return (quantity.value, quantity.unit, type(quantity))


def _memory(tables: Tables, options: ModelOptions) -> Memory:
    key = (id(tables), options)
    held = _memories.get(key)
    if held is None or held[0] is not tables:
        if len(_memories) >= _MOST_MEMORIES:
            _memories.clear()
        held = (tables, Memory())
        _memories[key] = held
    return held[1]
