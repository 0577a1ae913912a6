"""Shape errors in our own words: what pydantic noticed, turned into problems.

Nothing that was posted is repeated, except the name of an unknown member in the pointer (EXM-11
wants its path), and that only when it looks like a member name.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from brachium.exam.words import choose, listed
from brachium.problems import Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from pydantic_core import ErrorDetails

KINDS = ("inspection", "palpation", "motion", "strength", "part")
SOURCE = "JSON Schema of the exam"
_NAME = re.compile(r"^[A-Za-z][A-Za-z0-9_]{0,39}$")
_QUOTED = re.compile(r"'([^']*)'")

_WORD = "a word in lower case, its parts joined by hyphens, at most 64 characters"
_EXPECTED = {
    "key": "1 to 64 letters, digits, dots, underscores or hyphens, beginning with a letter or "
    "digit",
    "effective": "date and time to the second with its offset, as in 2026-03-02T10:15:00+01:00",
    "birthDate": "a date as YYYY, YYYY-MM or YYYY-MM-DD",
    "system": "an absolute address that begins with https://, http:// or urn:, at most 255 "
    "characters",
    "value": "text without space at either end, at most 255 characters",
    "unit": "a unit of the catalogue, 1 to 16 characters",
    "note": "text of 1 to 4000 characters that says something, without control characters",
    "grade": "a grade of the catalogue as text, at most 32 characters",
}


@dataclass(frozen=True, slots=True)
class _Kind:
    code: str
    issue_type: str
    message: str
    remedy: str


_OBJECT = _Kind("shape-type", "structure", "An object is expected here.", "Post a JSON object.")
_ARRAY = _Kind("shape-type", "structure", "A list is expected here.", "Post a JSON array.")
_TEXT = _Kind("shape-type", "structure", "Text is expected here.", "Post it in quotation marks: ")
_FORM = _Kind("shape-value", "value", "The text does not have the form expected here.", "Post ")
_LONG = _Kind("shape-too-long", "too-long", "The text is too long.", "Post ")
_DIGITS = _Kind(
    "shape-number",
    "value",
    "The number has more than 12 digits.",
    "Post the number that was read.",
)

_KINDS: dict[str, _Kind] = {
    "missing": _Kind("shape-missing", "required", "This member is missing.", "Add it."),
    "extra_forbidden": _Kind(
        "shape-unknown-member",
        "structure",
        "There is no such member here.",
        "Correct its name or leave it out; nothing is dropped in silence.",
    ),
    "model_type": _OBJECT,
    "model_attributes_type": _OBJECT,
    "tuple_type": _ARRAY,
    "string_type": _TEXT,
    "string_pattern_mismatch": _FORM,
    "string_too_short": _FORM,
    "string_too_long": _LONG,
    "bool_type": _Kind(
        "shape-type", "structure", "true or false is expected here.", "Post true or false."
    ),
    "number_type": _Kind(
        "shape-type",
        "structure",
        "A number is expected here.",
        "Post a JSON number, without quotation marks.",
    ),
    "number_digits": _DIGITS,
    "number_exponent": _Kind(
        "shape-number",
        "value",
        "The number is written with a power of ten.",
        "Write all its digits (100, not 1e2): the digits say how exactly it was read.",
    ),
    "number_zero": _Kind("shape-number", "value", "Zero has a minus sign.", "Post 0."),
    "rating_range": _Kind(
        "shape-value", "value", "A severity lies between 0 and 10.", "Post a number from 0 to 10."
    ),
    "too_short": _Kind(
        "shape-missing", "required", "There is no finding.", "Post at least one finding."
    ),
    "too_long": _Kind(
        "shape-too-long",
        "too-long",
        "The list is too long.",
        "Post at most 2000 findings, 20 trials or 20 limiters; split a larger examination.",
    ),
}
_OTHER = _Kind("shape-value", "value", "The value does not fit here.", "Post the expected form.")


def problems_of(errors: Iterable[ErrorDetails]) -> list[Problem]:
    """Turn the error list of a validation into problems, one each, in the order of the errors."""
    return [_problem(error) for error in errors if not _empty_because_bad(error)]


def _empty_because_bad(error: ErrorDetails) -> bool:
    """A list whose every item is bad counts as too short too; the items' own errors say enough."""
    return error["type"] == "too_short" and bool(error["input"])


def _problem(error: ErrorDetails) -> Problem:
    place = list(error["loc"])
    if len(place) > 2 and place[0] == "findings":
        del place[2]  # pydantic names the kind of the finding there
    kind = error["type"]
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        return _kind_problem(place, missing=kind == "union_tag_not_found")
    if kind == "extra_forbidden" and not _NAME.match(str(place[-1])):
        place.pop()
    pointer = to_pointer(place)
    if kind == "literal_error":
        return _words_problem(pointer, error.get("ctx", {}), error["input"])
    row = _KINDS.get(kind, _OTHER)
    remedy = row.remedy
    if row in (_TEXT, _FORM, _LONG):
        remedy += expected(place) + "."
    return _shape(row, pointer, remedy)


def _shape(row: _Kind, pointer: str, remedy: str) -> Problem:
    return Problem(row.code, Severity.ERROR, pointer, row.message, remedy, SOURCE, row.issue_type)


def expected(place: list[Any]) -> str:
    """Say what form the text at a place has."""
    names = [name for name in place if isinstance(name, str)]
    return _EXPECTED.get(names[-1], _WORD) if names else _WORD


def _kind_problem(place: list[Any], *, missing: bool) -> Problem:
    pointer = to_pointer([*place, "kind"])
    remedy = f"Say which kind of finding it is: {listed(KINDS)}."
    row = _KINDS["missing"] if missing else _literal("The kind of finding is not known.")
    return _shape(row, pointer, remedy)


def _literal(message: str) -> _Kind:
    return _Kind("shape-value", "code-invalid", message, "")


def _words_problem(pointer: str, context: Mapping[str, Any], posted: object) -> Problem:
    words = _QUOTED.findall(str(context.get("expected", "")))
    near = posted if isinstance(posted, str) and len(posted) <= 64 else None
    return _shape(_literal("This word is not accepted here."), pointer, choose(near, words))


def to_pointer(place: Iterable[str | int]) -> str:
    """Write a place as an RFC 6901 JSON pointer."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in place)
