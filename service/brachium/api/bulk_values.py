"""The values of the parameters of an export (Bulk Data Access 2.0, query parameters).

Each reader returns what was meant; ``ValueError`` with what is allowed, in words of ours.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qsl

from brachium.api.search_results import RESULTS
from brachium.bulk.wanted import TYPES, Associated
from brachium.coding.periods import instant

FORMATS = ("application/fhir+ndjson", "application/ndjson", "ndjson")
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d(\.\d{1,9})?(Z|[+-]\d\d:\d\d))?")
_FILTER = re.compile(r"([A-Z][A-Za-z]{1,63})\?(.+)", re.DOTALL)
# filters stand with commas between them, and so do the values in a filter
_BETWEEN = re.compile(r",(?=[A-Z][A-Za-z]{1,63}\?)")
_ELEMENT = re.compile(r"(?:[A-Z][A-Za-z]{1,63}\.)?[a-z][A-Za-z]{0,63}")
_PATIENT = re.compile(r"(?:.*/)?Patient/([A-Za-z0-9.-]{1,64})")


def output_format(value: str) -> None:
    """Refuse a format other than NDJSON; a plus sign may arrive as a space."""
    if value.replace(" ", "+") not in FORMATS:
        raise ValueError(", ".join(FORMATS))


def since(value: str) -> str:
    """Return an instant in UTC with milliseconds, rounded up: what is stored has no more digits."""
    text = value.replace(" ", "+")
    found = _MOMENT.fullmatch(text)
    try:
        moment = datetime.fromisoformat(_microseconds(text, found[2]) if found else "")
        moment = moment.replace(tzinfo=moment.tzinfo or UTC).astimezone(UTC)
        whole = moment.replace(microsecond=moment.microsecond // 1000 * 1000)
        rounded = whole if whole == moment else whole + timedelta(milliseconds=1)
    except (ValueError, OverflowError):
        raise ValueError("a FHIR instant such as 2026-03-02T09:15:00.000Z") from None
    return instant(rounded)


def _microseconds(text: str, fraction: str | None) -> str:
    """Return the text with six digits behind the point; further ones count as a millionth."""
    if not fraction or len(fraction) <= 7:
        return text
    digits = int(fraction[1:7]) + bool(int(fraction[7:] or 0))
    return text.replace(fraction, f".{min(digits, 999_999):06}")


def filters(value: str) -> list[tuple[str, str]]:
    """Return the filters in a value, each as type and query."""
    found = [_FILTER.fullmatch(one) for one in _BETWEEN.split(value)]
    pairs = [(one[1], one[2]) for one in found if one]
    if len(pairs) < len(found):
        raise ValueError("searches such as Observation?status=final with commas between them")
    return pairs


def pairs_of(query: str) -> list[tuple[str, str]]:
    """Return the parameters of a filter; a plus sign in it is one."""
    pairs = parse_qsl(query.replace("+", "%2B"), keep_blank_values=True)
    names = {name.partition(":")[0] for name, _ in pairs}
    if not pairs or names & {*RESULTS, "_format", "_pretty"}:
        raise ValueError("search parameters of the type that say what is looked for")
    return pairs


def elements(value: str) -> tuple[str, ...]:
    """Return the members to keep; one may have the name of its type before it."""
    parts = tuple(value.split(","))
    if not all(_ELEMENT.fullmatch(one) for one in parts):
        raise ValueError("names of elements at the top with commas between them")
    if any("." in one and one.partition(".")[0] not in TYPES for one in parts):
        raise ValueError(f"elements of {', '.join(TYPES)}")
    return parts


def patient(reference: str) -> str:
    """Return the id that a reference to a patient has."""
    found = _PATIENT.fullmatch(reference)
    if not found:
        raise ValueError("references such as Patient/123")
    return found[1]


def associated(value: str) -> Associated:
    """Return which Provenance is wanted beside the types."""
    if value not in (Associated.LATEST.value, Associated.RELEVANT.value):
        raise ValueError(f"{Associated.LATEST.value} or {Associated.RELEVANT.value}")
    return Associated(value)
