"""The codes of what can be wrong with the shape of an exam, before any rule looks at it."""

from __future__ import annotations

from brachium.problems import Listed, Severity

LISTED: tuple[Listed, ...] = (
    Listed(
        "shape-not-json",
        Severity.ERROR,
        "The body is not JSON.",
        "Nothing else can be read in it.",
        "Post one JSON object in UTF-8.",
        "RFC 8259",
    ),
    Listed(
        "shape-duplicate-member",
        Severity.ERROR,
        "An object has the same member twice.",
        "Nobody can tell which of the two is meant.",
        "Keep one of them.",
        "RFC 8259 4",
    ),
    Listed(
        "shape-type",
        Severity.ERROR,
        "A value is of another JSON type than expected.",
        "Guessing what was meant could change a finding.",
        "Post the type that the schema names.",
        "JSON Schema of the exam",
    ),
    Listed(
        "shape-value",
        Severity.ERROR,
        "A text or number does not have the form expected.",
        "What cannot be read cannot be checked.",
        "Post the form that the schema describes.",
        "JSON Schema of the exam",
    ),
    Listed(
        "shape-number",
        Severity.ERROR,
        "A number is written in a way that is not kept.",
        "The digits say how exactly a value was read.",
        "Write all digits of the number, without a power of ten.",
        "FHIR R4 json 2.6.2.3",
    ),
    Listed(
        "shape-too-long",
        Severity.ERROR,
        "A text or list is too long.",
        "Every length has a limit, so that an exam stays readable.",
        "Shorten it, or split the examination into several exams.",
        "JSON Schema of the exam",
    ),
    Listed(
        "shape-missing",
        Severity.ERROR,
        "A member that is needed is missing.",
        "What is not said is not guessed.",
        "Add it.",
        "JSON Schema of the exam",
    ),
    Listed(
        "shape-unknown-member",
        Severity.ERROR,
        "A member is not known.",
        "Dropping it in silence could lose a finding.",
        "Correct its name or leave it out.",
        "JSON Schema of the exam",
    ),
)
