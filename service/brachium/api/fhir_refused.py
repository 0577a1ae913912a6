"""What cannot be written under /fhir, and what to do instead (matrix WRT-11)."""

from __future__ import annotations

import re
from dataclasses import replace

from brachium.api.answers import FHIR_ROOT
from brachium.api.faults import Fault, NotSupported, WrongMethod
from brachium.api.served import SERVED
from brachium.problems import Listed, Severity

_PATH = re.compile(re.escape(FHIR_ROOT) + r"/([A-Z][A-Za-z]{1,63})(?:/.*)?")
_WRITE = Listed(
    "write-refused",
    Severity.ERROR,
    "Resources of this type are not written one by one.",
    "What is stored is coded, judged and worked out from a whole exam, so that it cannot "
    "contradict itself.",
    "Send the whole exam: to POST /fhir as a transaction in our profile, to POST "
    "/fhir/QuestionnaireResponse as a filled-in form, or to POST /exams as JSON. To change "
    "something, correct the exam.",
    "FHIR R4 http 3.1.0.8, 3.1.0.4",
)
_DELETE = Listed(
    "delete-refused",
    Severity.ERROR,
    "Clinical records are never deleted.",
    "Somebody may have acted on them.",
    "Withdraw the exam with a reason (POST /exams/{exam_id}/withdrawal): everything of it becomes "
    "entered-in-error and can still be read.",
    "FHIR R4 http 3.1.0.7, observation-status",
)
LISTED = (_WRITE, _DELETE)


def refusal(method: str, path: str, allow: str) -> Fault:
    """Return the fault of a method that an address does not take; ``allow`` are those it takes."""
    headers = {"Allow": allow}
    found = _PATH.fullmatch(path)
    if found is None or method == "OPTIONS":
        return WrongMethod(headers=headers)
    if found[1] not in SERVED:
        return NotSupported()
    if method != "DELETE" and SERVED[found[1]].writes:
        return WrongMethod(headers=headers)
    row = _DELETE if method == "DELETE" else _WRITE
    problem = row.problem("", f"{row.title} {method} is not served here.", "not-supported")
    return WrongMethod(replace(problem, place=found[1]), headers=headers)
