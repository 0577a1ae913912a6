"""What a fault is, and the rule that says how it is answered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from brachium.problems import Problem, Severity

HTTP = "RFC 9110"


class Fault(Exception):
    """A request that is answered with an error; ``problems`` say why when the table cannot.

    ``parameter`` names the query parameter or header at fault, for ``http.<name>`` expressions
    (FHIR R4 2.44.5.1).
    """

    def __init__(
        self,
        *problems: Problem,
        parameter: str | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(type(self).__name__)
        self.problems = problems
        self.parameter = parameter
        self.headers = dict(headers or {})


@dataclass(frozen=True, slots=True)
class Rule:
    """How one fault is answered: HTTP status, R4 issue-type, own code, sentence and way out."""

    status: int
    issue_type: str
    code: str
    title: str
    remedy: str
    source: str
    headers: Mapping[str, str] = field(default_factory=dict)


def stated(found: Rule) -> Problem:
    """Return a rule of this table as a problem."""
    return Problem(
        code=found.code,
        severity=Severity.ERROR,
        pointer="",
        message=found.title,
        remedy=found.remedy,
        source=found.source,
        issue_type=found.issue_type,
    )
