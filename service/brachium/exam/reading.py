"""Read a posted exam: JSON, shape and rules, with every problem in one answer (EXM-06)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import jiter
from pydantic import TypeAdapter, ValidationError

from brachium.exam.findings import Exam, Finding
from brachium.exam.model import ModelOptions, check, check_case, person
from brachium.exam.shape import problems_of
from brachium.exam.units import convert
from brachium.problems import Problem, Severity, refuses

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.tables.load import Tables

_EXAM: TypeAdapter[Exam] = TypeAdapter(Exam)
_FINDING: TypeAdapter[Finding] = TypeAdapter(Finding)
_JSON = "RFC 8259 (JSON)"


@dataclass(frozen=True, slots=True)
class Examined:
    """What reading an exam gave.

    ``exam`` is ``None`` when an error refuses it; ``broken`` says that the body was not JSON at all
    or used a member twice, so that nothing else could be looked at.
    """

    exam: Exam | None
    problems: tuple[Problem, ...]
    broken: bool = False


def examine(raw: bytes, tables: Tables, options: ModelOptions) -> Examined:
    """Read and check a posted exam; never raises for anything in the body."""
    try:
        data = jiter.from_json(
            raw, float_mode="decimal", catch_duplicate_keys=True, allow_inf_nan=False
        )
    except ValueError as error:
        return Examined(None, (_not_json(str(error)),), broken=True)
    try:
        exam = _EXAM.validate_python(data, by_alias=True, by_name=False)
    except ValidationError as error:
        return Examined(None, tuple(_partial(data, error, tables, options)))
    if options.convert_units:
        exam = _converted(exam, tables)
    problems = tuple(check(exam, tables, options))
    return Examined(None if refuses(problems) else exam, problems)


def reread(content: bytes, tables: Tables) -> Exam:
    """Return the exam of stored canonical content, as it was understood when it came in.

    No rule is asked again. Canonical content holds converted quantities as they were posted, so
    they are converted again. Raises ``ValueError`` for content whose shape is not known any more.
    """
    data = jiter.from_json(content, float_mode="decimal")
    return _converted(_EXAM.validate_python(data, by_alias=True, by_name=False), tables)


def _converted(exam: Exam, tables: Tables) -> Exam:
    findings = tuple(convert(finding, tables) for finding in exam.findings)
    return exam.model_copy(update={"findings": findings})


def _not_json(text: str) -> Problem:
    if text.startswith("Detected duplicate key"):
        code, message = "shape-duplicate-member", "An object has the same member twice."
        remedy = "Keep one: nobody can tell which is meant."
    elif text.startswith("recursion limit"):
        code, message = "shape-not-json", "The body is nested too deeply."
        remedy = "Post one exam object as the schema describes it."
    else:
        code, message = "shape-not-json", "The body is not JSON in UTF-8."
        remedy = "Post one JSON object, as the schema describes it."
    return Problem(code, Severity.ERROR, "", message + _place(text), remedy, _JSON, "structure")


def _place(text: str) -> str:
    """Return where it stopped, from the reader's "at line N column M"; never what stood there."""
    _, found, place = text.rpartition(" at line ")
    line, middle, column = place.partition(" column ")
    if not (found and middle and line.isdigit() and column.isdigit()):
        return ""
    return f" Reading stopped in line {line}, column {column}."


def _partial(
    data: Any,  # noqa: ANN401 - any JSON
    error: ValidationError,
    tables: Tables,
    options: ModelOptions,
) -> Iterable[Problem]:
    """Yield the shape problems, then what the rules say about the readable rest."""
    errors = error.errors(include_url=False)
    yield from problems_of(errors)
    if not isinstance(data, dict):
        return
    bad = {place["loc"][:2] for place in errors}
    head = {
        name: data.get(name) if (name,) not in bad and isinstance(data.get(name), str) else None
        for name in ("effective",)
    }
    patient = data.get("patient")
    patient = patient if isinstance(patient, dict) else {}

    def told(name: str) -> str | None:
        value = patient.get(name)
        return value if isinstance(value, str) and ("patient", name) not in bad else None

    who = person(head["effective"], told("birthDate"), told("sex"), told("dominantHand"))
    yield from check_case(who, _readable(data, bad, tables, options), tables, options)


def _readable(
    data: dict[str, Any],
    bad: set[tuple[str | int, ...]],
    tables: Tables,
    options: ModelOptions,
) -> tuple[tuple[int, Finding], ...]:
    posted = data.get("findings")
    if not isinstance(posted, list) or ("findings",) in bad:
        return ()
    findings = [
        (index, _FINDING.validate_python(one, by_alias=True, by_name=False))
        for index, one in enumerate(posted)
        if ("findings", index) not in bad
    ]
    if not options.convert_units:
        return tuple(findings)
    return tuple((index, convert(finding, tables)) for index, finding in findings)
