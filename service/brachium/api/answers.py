"""Error answers: RFC 9457 problem details, or a FHIR R4 OperationOutcome where FHIR speaks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any

import orjson
from starlette.responses import Response
from starlette.types import Scope

from brachium.api.faults import SERVICE_CODES, Fault, problems_of, rule
from brachium.api.media import FHIR_JSON, PROBLEM, prefers_outcome
from brachium.problems import Problem

FHIR_ROOT = "/fhir"
PROBLEM_SYSTEM = "/CodeSystem/problem-codes"


def header(scope: Scope, name: bytes) -> str | None:
    """Return a request header by its lower-case name, all its lines joined, or ``None``."""
    values = [value.decode("latin-1") for key, value in scope["headers"] if key == name]
    return ", ".join(values) if values else None


def speaks_fhir(scope: Scope) -> bool:
    """Tell whether the errors of this request are OperationOutcomes (matrix ERR-01, EXM-04)."""
    path: str = scope["path"]
    if path == FHIR_ROOT or path.startswith(FHIR_ROOT + "/"):
        return True
    return prefers_outcome(header(scope, b"accept"))


def plain(problem: Problem) -> dict[str, Any]:
    """Return a problem as a member of ``problems`` in JSON answers."""
    return {
        "code": problem.code,
        "severity": problem.severity.value,
        "pointer": problem.pointer,
        "message": problem.message,
        "remedy": problem.remedy,
        "source": problem.source,
        "issueType": problem.issue_type,
    }


def issue(problem: Problem, canonical: str, expression: str | None) -> dict[str, Any]:
    """Return a problem as OperationOutcome.issue (FHIR R4 2.44.4, 2.44.5)."""
    coding = {"system": canonical + PROBLEM_SYSTEM, "code": problem.code}
    found: dict[str, Any] = {
        "severity": problem.severity.value,
        "code": problem.issue_type,
        "details": {"coding": [coding], "text": problem.message},
        "diagnostics": f"{problem.remedy} Source: {problem.source}",
    }
    if expression:
        found["expression"] = [expression]
    return found


def outcome(
    problems: Iterable[Problem], canonical: str, parameter: str | None = None
) -> dict[str, Any]:
    """Return an OperationOutcome; ``parameter`` is the request part that a service fault names."""
    issues = []
    for problem in problems:
        service = problem.code in SERVICE_CODES and not (problem.pointer or problem.place)
        expression = (f"http.{parameter}" if parameter else None) if service else problem.expression
        issues.append(issue(problem, canonical, expression))
    return {"resourceType": "OperationOutcome", "issue": issues or [all_well(canonical)]}


def all_well(canonical: str) -> dict[str, Any]:
    """Return the issue of an outcome without problems: R4 wants at least one."""
    coding = {"system": canonical + PROBLEM_SYSTEM, "code": "all-well"}
    text = "Nothing to remark."
    return {
        "severity": "information",
        "code": "informational",
        "details": {"coding": [coding], "text": text},
    }


class Answers:
    """Writes error answers; built once with the addresses that appear in them."""

    def __init__(self, base: str, canonical: str) -> None:
        self._base = base
        self._canonical = canonical

    def error(self, scope: Scope, error: Exception) -> Response:
        """Return the answer to an exception; nothing of its text and nothing of the body is in it.

        ``scope`` holds ``request_id`` once the edge has seen the request.
        """
        found = rule(error)
        problems = problems_of(error)
        parameter = error.parameter if isinstance(error, Fault) else None
        if speaks_fhir(scope):
            body, media = outcome(problems, self._canonical, parameter), FHIR_JSON
        else:
            body, media = self._details(scope, error, problems, parameter), PROBLEM
        headers: Mapping[str, str] = {
            **found.headers,
            **(error.headers if isinstance(error, Fault) else {}),
        }
        return Response(orjson.dumps(body), found.status, headers, media)

    def _details(
        self, scope: Scope, error: Exception, problems: Iterable[Problem], parameter: str | None
    ) -> dict[str, Any]:
        found = rule(error)
        body: dict[str, Any] = {
            "type": f"{self._base}/rules/{found.code}",
            "title": HTTPStatus(found.status).phrase,
            "status": found.status,
            "detail": found.title,
            "problems": [plain(problem) for problem in problems],
        }
        if parameter:
            body["parameter"] = parameter
        if "request_id" in scope:
            body["requestId"] = scope["request_id"]
        return body
