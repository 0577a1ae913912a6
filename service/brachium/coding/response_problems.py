"""What can be wrong with a QuestionnaireResponse, each with its place in FHIRPath and a way out."""

from __future__ import annotations

from dataclasses import replace

from brachium.problems import Listed, Problem, Severity

_R4 = "FHIR R4 QuestionnaireResponse"
_FORM = "our Questionnaire, made of the tables"


def _error(code: str, title: str, reason: str, remedy: str, source: str = _FORM) -> Listed:
    return Listed(code, Severity.ERROR, title, reason, remedy, source)


SHAPE = _error(
    "response-shape",
    "Not the shape of a response",
    "What has not the shape that FHIR gives it cannot be read.",
    "Send a FHIR R4 QuestionnaireResponse.",
    _R4,
)
MEMBER = _error(
    "response-unknown-member",
    "Content that would be lost",
    "An exam has no place for it, and nothing is dropped in silence.",
    "Leave it out, or say it in a note.",
)
FOREIGN = _error(
    "response-foreign",
    "Response to another questionnaire",
    "Only questions of our own Questionnaire have a meaning that can be coded.",
    "Fill in the Questionnaire that this service offers, and name its url with its version.",
)
MISSING = _error(
    "response-missing",
    "Answer missing",
    "Without it the exam cannot be understood.",
    "Add it.",
)
ITEM = _error(
    "response-unknown-item",
    "Question that is not asked here",
    "An answer to a question that nobody asked has no meaning.",
    "Use the linkIds of the Questionnaire, nested as they are there.",
)
TYPE = _error(
    "response-answer-type",
    "Answer of another type",
    "The type of an answer is part of its meaning.",
    "Answer with the type that the Questionnaire gives.",
)
SEVERAL = _error(
    "response-several",
    "Several answers where one is allowed",
    "Nobody can tell which of them is meant.",
    "Keep one; a further finding is a further instance of its group.",
)
OPTION = _error(
    "response-option",
    "Answer that is not offered",
    "An answer outside the list has no meaning that could be coded.",
    "Choose one of the answers that the Questionnaire offers.",
)
NOT_ASKED = _error(
    "response-not-asked",
    "Answer that does not belong to the other answers",
    "It suggests that one of two answers is not the one that was meant.",
    "Take the answer away, or correct the answer that the question depends on.",
)
CONTRADICTION = _error(
    "response-contradiction",
    "Answers that contradict each other",
    "Nobody can tell which of them is meant.",
    "Keep one of them.",
)
STATUS = _error(
    "response-status",
    "Status that no exam has",
    "Whether a response can be used depends on its status.",
    "Send in-progress, completed, amended or entered-in-error.",
    _R4,
)
PARTY = _error(
    "response-party",
    "Somebody who is not identified",
    "People, places and visits are known here by their identifiers alone.",
    "Give an identifier with system and value.",
)
NOT_KEPT = Listed(
    "response-not-kept",
    Severity.INFORMATION,
    "Not kept with the exam",
    "It says nothing about the patient's arms, and this service sets it itself.",
    "Nothing needs to be done.",
    _R4,
)
EDITION = Listed(
    "response-edition",
    Severity.WARNING,
    "Response to another edition",
    "Every answer was held against the edition in use; what it does not know is refused.",
    "Fetch the Questionnaire again.",
    _FORM,
)
WORDING = Listed(
    "response-wording",
    Severity.WARNING,
    "Other words than the Questionnaire's",
    "Whoever filled in the form may have read another question or answer than the one coded.",
    "Show the texts of the Questionnaire; codes alone are kept.",
    _FORM,
)

LISTED = (
    SHAPE,
    MEMBER,
    FOREIGN,
    MISSING,
    ITEM,
    TYPE,
    SEVERAL,
    OPTION,
    NOT_ASKED,
    CONTRADICTION,
    STATUS,
    PARTY,
    NOT_KEPT,
    EDITION,
    WORDING,
)
_ISSUES = {
    SHAPE: "structure",
    MEMBER: "structure",
    FOREIGN: "not-supported",
    MISSING: "required",
    ITEM: "structure",
    TYPE: "structure",
    OPTION: "code-invalid",
    NOT_ASKED: "business-rule",
    CONTRADICTION: "invariant",
    STATUS: "value",
    PARTY: "required",
    NOT_KEPT: "informational",
    EDITION: "informational",
    WORDING: "informational",
}


class Complaints:
    """Collects problems; never holds what was posted, except measured numbers."""

    def __init__(self) -> None:
        self.found: list[Problem] = []

    def add(self, row: Listed, place: str, message: str, remedy: str = "") -> None:
        """Note a problem at a place (FHIRPath of the response)."""
        made = row.problem("", message, _ISSUES.get(row, "business-rule"), remedy)
        self.found.append(replace(made, place=place))
