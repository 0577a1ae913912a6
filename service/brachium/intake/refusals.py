"""The codes of what only the intake can see: it knows the present, and what is stored already."""

from __future__ import annotations

from brachium.problems import Listed, Severity

EXAM_WITHDRAWN = Listed(
    "exam-withdrawn",
    Severity.ERROR,
    "The exam was withdrawn.",
    "The same content does not bring it back.",
    "Enter it again under a new exam identifier.",
    "FHIR R4 observation-status; own convention",
)
EXAM_IDENTIFIER_CHANGED = Listed(
    "exam-identifier-changed",
    Severity.ERROR,
    "A correction names another exam.",
    "A correction is about the exam it changes.",
    "Withdraw the exam with a reason and enter it again under a new exam identifier.",
    "FHIR R4 lifecycle; own convention: the subject of a stored exam never changes",
)
PATIENT_CHANGED = Listed(
    "patient-changed",
    Severity.ERROR,
    "A correction names another patient.",
    "The subject of a stored exam never changes.",
    "Withdraw the exam with a reason and enter it again under a new exam identifier.",
    "FHIR R4 lifecycle; own convention: the subject of a stored exam never changes",
)
STATUS_STEP = Listed(
    "status-step",
    Severity.ERROR,
    "A status cannot follow another.",
    "What was final stays visible as final and changed, what was withdrawn stays so.",
    "Send the corrected exam with status final, or withdraw it.",
    "FHIR R4 observation-status; own convention",
)
REASON_MISSING = Listed(
    "reason-missing",
    Severity.ERROR,
    "A change of a stored exam has no reason.",
    "The reason goes into Provenance.",
    "Say in words why the exam is changed.",
    "FHIR R4 Provenance.reason; own convention",
)
REASON_UNREADABLE = Listed(
    "reason-unreadable",
    Severity.ERROR,
    "The reason of a change cannot be shown.",
    "It goes into FHIR texts, which hold no control characters.",
    "Say in plain words why the exam is changed.",
    "FHIR R4 datatypes string; own convention",
)
EXPECTED_VERSION_MISSING = Listed(
    "expected-version-missing",
    Severity.ERROR,
    "A change does not name the version it changes.",
    "Two people may change the same exam.",
    "Read the exam and name its version.",
    "FHIR R4 http 3.1.0.5",
)
EFFECTIVE_AHEAD = Listed(
    "effective-ahead",
    Severity.WARNING,
    "Examined in the future",
    "An examination is posted after it was made; a year or an offset may be mistyped.",
    "Check the date and its offset; it is kept as posted.",
    "own convention",
)

LISTED = (
    EFFECTIVE_AHEAD,
    EXAM_WITHDRAWN,
    EXAM_IDENTIFIER_CHANGED,
    PATIENT_CHANGED,
    STATUS_STEP,
    REASON_MISSING,
    REASON_UNREADABLE,
    EXPECTED_VERSION_MISSING,
)
