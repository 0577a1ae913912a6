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
FACILITY_CHANGED = Listed(
    "facility-changed",
    Severity.ERROR,
    "A correction names another facility.",
    "An exam belongs to the facility that made it; who may see it depends on that.",
    "Withdraw the exam with a reason and enter it again under a new exam identifier.",
    "FHIR R4 security 6.1.0; own convention: an exam belongs to one organization for ever",
)
FACILITY_ELSEWHERE = Listed(
    "facility-elsewhere",
    Severity.ERROR,
    "The exam was made at a facility that the sender does not belong to.",
    "This client was registered for one organization, and stores and sees only its exams.",
    "Name the organization of the client as the facility, or post with a client of that facility.",
    "FHIR R4 security 6.1.0.5.2",
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
NOT_OURS = Listed(
    "not-our-profile",
    Severity.ERROR,
    "A resource of the bundle cannot be read back into an exam.",
    "Only what can be read without loss is stored.",
    "Send a transaction as GET /exams/{exam_id}/bundle?type=transaction hands it out, or the exam "
    "itself to POST /exams.",
    "own convention: the profiles of this service",
)
NOT_KEPT = Listed(
    "not-kept",
    Severity.ERROR,
    "Something posted would not be stored as it stands.",
    "What is stored is what the service makes of the exam; nothing posted may get lost in silence.",
    "Leave the element out, correct it, or put it where the profile has a place for it.",
    "FHIR R4 http 3.1.0.8; own convention",
)
REFERENCE_UNRESOLVED = Listed(
    "reference-unresolved",
    Severity.ERROR,
    "A reference leads to nothing, or to several.",
    "A finding must not be about a person that nobody can name.",
    "Send the resource as an entry of the transaction, or refer to one that is stored here.",
    "FHIR R4 http 3.1.0.11.2",
)
PARTY_DIFFERS = Listed(
    "party-differs",
    Severity.ERROR,
    "A resource that must not be changed is stored with other facts.",
    "With ifNoneExist the stored one stays, and the posted facts would be lost.",
    "Send the facts as they are stored, or ask for the change: PUT with identifier in the url.",
    "FHIR R4 http 3.1.0.8.1",
)
NOT_STORED_YET = Listed(
    "not-stored-yet",
    Severity.ERROR,
    "A later version of an exam came before the first.",
    "An exam is changed from a version that is here, so that its history is whole.",
    "Send its versions in their order, beginning with version 1.",
    "FHIR R4 http 3.1.0.4.3; own convention",
)
ASSEMBLED_ANEW = Listed(
    "assembled-anew",
    Severity.INFORMATION,
    "The Provenance names this service as assembler, not the one that sent the bundle.",
    "What is stored was coded here, and came out as it was posted.",
    "Nothing is to be done.",
    "FHIR R4 Provenance 6.3.4.5",
)
NOT_A_FORM = Listed(
    "not-a-form",
    Severity.ERROR,
    "The exam is stored, and did not come in as a form.",
    "It has no QuestionnaireResponse that could be answered with or changed.",
    "Read and correct it by the way it came in, or use a new identifier.",
    "own convention",
)

LISTED = (
    NOT_A_FORM,
    NOT_OURS,
    NOT_KEPT,
    REFERENCE_UNRESOLVED,
    PARTY_DIFFERS,
    NOT_STORED_YET,
    ASSEMBLED_ANEW,
    EFFECTIVE_AHEAD,
    EXAM_WITHDRAWN,
    EXAM_IDENTIFIER_CHANGED,
    PATIENT_CHANGED,
    FACILITY_CHANGED,
    FACILITY_ELSEWHERE,
    STATUS_STEP,
    REASON_MISSING,
    REASON_UNREADABLE,
    EXPECTED_VERSION_MISSING,
)
