"""What can be wrong with an exam (a result) and with a set-up (an exception).

A :class:`Problem` never carries identifiers, names, dates of birth, notes or the text of an unknown
field: it is shown in answers and may be logged. Measured numbers may appear where they help.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """FHIR R4 issue-severity (required binding of OperationOutcome.issue.severity)."""

    ERROR = "error"
    WARNING = "warning"
    INFORMATION = "information"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing the service has to say about an exam.

    ``pointer`` is an RFC 6901 JSON pointer into the posted exam; ``issue_type`` a code of FHIR R4
    issue-type; ``code`` is ours, stable, and listed in the table of rules; ``source`` names the
    publication, standard or own convention that the rule rests on. ``place`` is where it stands
    when it is not in a posted exam: a FHIRPath in the resource that was sent, or ``http.<name>``
    for a part of the request.
    """

    code: str
    severity: Severity
    pointer: str
    message: str
    remedy: str
    source: str
    issue_type: str = "business-rule"
    place: str = ""

    @property
    def expression(self) -> str:
        """The place as the simplified FHIRPath of R4 OperationOutcome.issue.expression."""
        if self.place:
            return self.place
        path = "exam"
        for token in self.pointer.split("/")[1:]:
            name = token.replace("~1", "/").replace("~0", "~")
            path += f"[{name}]" if name.isdigit() else f".{name}"
        return path


@dataclass(frozen=True, slots=True)
class Listed:
    """One code that problems can have, as the table of rules tells it.

    Whoever makes such problems owns the row, and makes them from it.
    """

    code: str
    severity: Severity
    title: str
    reason: str
    remedy: str
    source: str

    def problem(
        self, pointer: str, message: str, issue_type: str = "business-rule", remedy: str = ""
    ) -> Problem:
        """Return a problem of this code; the way out is the row's unless a nearer one is known."""
        way_out = remedy or self.remedy
        return Problem(self.code, self.severity, pointer, message, way_out, self.source, issue_type)


def refuses(problems: Iterable[Problem]) -> bool:
    """Tell whether any problem is an error: errors refuse, warnings travel with the record."""
    return any(problem.severity is Severity.ERROR for problem in problems)


class BrokenTables(Exception):
    """The mapping tables contradict themselves; every fault is listed, and nothing starts."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = faults
        super().__init__(f"{len(faults)} faults in the tables:\n" + "\n".join(faults))


class BrokenSettings(Exception):
    """A setting has a value that the service cannot work with."""
