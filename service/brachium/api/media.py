"""Media types: what the client accepts, and what it sends (RFC 9110, 12; FHIR R4 3.1.0.1.9).

Everything here is pure and cached: a service sees the same few header values all day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

JSON = "application/json"
FHIR_JSON = "application/fhir+json"
PROBLEM = "application/problem+json"
SCHEMA_JSON = "application/schema+json"
CSV = "text/csv"
TEXT = "text/plain"
HTML = "text/html"
ZIP = "application/zip"
# every spelling of "FHIR as JSON" that FHIR R4 3.1.0.1.9 and 3.1.0.1.11 tell a server to take
FHIR_SPELLINGS = (FHIR_JSON, JSON, "text/json", "application/json+fhir")
JSON_SPELLINGS = (JSON, "text/json", FHIR_JSON, SCHEMA_JSON, PROBLEM)
_FORMATS = frozenset({"json", *FHIR_SPELLINGS})


@dataclass(frozen=True, slots=True)
class Range:
    """One member of an Accept header: a media range, its weight and its place in the list."""

    main: str
    sub: str
    weight: float
    place: int
    fhir_version: str | None

    def specificity(self, media: str) -> int:
        """Tell how exactly the range names ``media``: 0 not at all, 1 any, 2 its main, 3 itself."""
        main, _, sub = media.partition("/")
        if self.fhir_version not in (None, "4.0", "4.0.1"):
            return 0
        if (self.main, self.sub) == (main, sub):
            return 3
        if self.sub != "*":
            return 0
        return 2 if self.main == main else int(self.main == "*")


def _range(text: str, place: int) -> Range | None:
    media, *parameters = (part.strip() for part in text.split(";"))
    main, slash, sub = media.lower().replace(" ", "+").partition("/")
    values = {
        name.strip().lower(): value.strip().strip('"')
        for name, _, value in (parameter.partition("=") for parameter in parameters)
    }
    try:
        weight = float(values.get("q", "1"))
    except ValueError:
        return None
    if not slash or not 0 <= weight <= 1:
        return None
    return Range(main, sub, weight, place, values.get("fhirversion"))


@lru_cache(maxsize=512)
def ranges(accept: str) -> tuple[Range, ...]:
    """Return the readable members of an Accept header; a member nobody can read asks nothing."""
    found = (_range(text, place) for place, text in enumerate(accept.split(",")))
    return tuple(member for member in found if member is not None)


def _rank(member: Range, media: str) -> tuple[float, int, int]:
    return (member.weight, member.specificity(media), -member.place)


def _standing(asked: Sequence[Range], media: str) -> tuple[float, int, int]:
    """Return how much ``media`` is wanted; the most exact range speaks for it (RFC 9110 12.5.1)."""
    naming = [member for member in asked if member.specificity(media)]
    if not naming:
        return (0, 0, 0)
    return _rank(max(naming, key=lambda member: member.specificity(media)), media)


@lru_cache(maxsize=512)
def choose(accept: str | None, offers: tuple[str, ...]) -> str | None:
    """Return the offer that the Accept header likes best, the first of equals, else ``None``.

    No header, or an empty one, takes anything.
    """
    if not accept or not accept.strip():
        return offers[0]
    asked = ranges(accept)
    best = max(offers, key=lambda offer: _standing(asked, offer))
    return best if _standing(asked, best)[0] > 0 else None


@lru_cache(maxsize=512)
def prefers_outcome(accept: str | None) -> bool:
    """Tell whether errors go out as an OperationOutcome because FHIR JSON is wanted most."""
    if not accept:
        return False
    asked = ranges(accept)
    fhir = _standing(asked, FHIR_JSON)
    plain = max(_standing(asked, PROBLEM), _standing(asked, JSON))
    return fhir[1] == 3 and fhir > plain


def serves_fhir(accept: str | None, format_parameter: str | None) -> bool:
    """Tell whether FHIR JSON answers the request; ``_format`` overrides Accept (3.1.0.1.11)."""
    if format_parameter:
        # an unescaped plus sign of a query string arrives as a space
        wanted = format_parameter.lower().partition(";")[0].strip().replace(" ", "+")
        return wanted in _FORMATS
    return choose(accept, FHIR_SPELLINGS) is not None


@lru_cache(maxsize=128)
def is_json_body(content_type: str) -> bool:
    """Tell whether a Content-Type names JSON in UTF-8, the only text JSON has (RFC 8259, 8.1)."""
    media, *parameters = (part.strip().lower() for part in content_type.split(";"))
    charsets = [p.partition("=")[2].strip('"') for p in parameters if p.startswith("charset=")]
    return media in (JSON, "text/json") and all(c in ("utf-8", "utf8") for c in charsets)


@lru_cache(maxsize=128)
def is_fhir_body(content_type: str) -> bool:
    """Tell whether a Content-Type names FHIR JSON in UTF-8 (FHIR R4 3.1.0.1.9)."""
    media, *_ = content_type.partition(";")
    fhir = media.strip().lower() in FHIR_SPELLINGS
    return fhir and is_json_body(content_type.replace(media, JSON, 1))
