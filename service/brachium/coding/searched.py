"""What each resource is found by: the search values of stored resources, read in their own text.

One row for each search parameter that the store has to know; a date or quantity is stored so that
it can be compared. What the store knows by itself (``_id``, ``_lastUpdated`` and the parameters
that are nothing else, such as issued) has no row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple, TypeAlias

from jiter import from_json

from brachium.coding.fhir import (
    GENDER,
    LATERALITY,
    OBSERVATION_STATUS,
    REPORT_STATUS,
    RESPONSE_STATUS,
)
from brachium.coding.identity import party_id
from brachium.coding.periods import interval
from brachium.exam.findings import Identifier
from brachium.records import SearchValue

Json: TypeAlias = Any
Reader: TypeAlias = Callable[[Json], Iterator[str]]


class Row(NamedTuple):
    """A parameter, where its elements are (names of members), and how they are read."""

    parameter: str
    path: tuple[str, ...]
    read: Reader


def _coded(concept: Json) -> Iterator[str]:
    return (f"{one.get('system', '')}|{one['code']}" for one in concept.get("coding", ()))


def _identifier(by: Json) -> Iterator[str]:
    yield f"{by.get('system', '')}|{by['value']}"


def _logical(reference: Json) -> Iterator[str]:
    if "identifier" in reference:
        yield from _identifier(reference["identifier"])


def _reference(reference: Json) -> Iterator[str]:
    """The version of a reference says nothing about what it leads to."""
    if "reference" in reference:
        yield reference["reference"].partition("/_history/")[0]


def _party(reference: Json) -> Iterator[str]:
    """The address here of somebody who is named by identifier alone."""
    kind, by = reference["type"], reference["identifier"]
    yield f"{kind}/{party_id(kind, Identifier(system=by['system'], value=by['value']))}"


def _canonical(url: Json) -> Iterator[str]:
    """The version may be asked for or not (FHIR R4 search 3.1.1.4.13)."""
    yield from dict.fromkeys((url, url.partition("|")[0]))


def _date(text: Json) -> Iterator[str]:
    yield interval(text)


def _text(text: Json) -> Iterator[str]:
    yield text


def _quantity(measured: Json) -> Iterator[str]:
    number = format(Decimal(measured["value"]), "f")
    yield f"{number}|{measured.get('system', '')}|{measured.get('code', '')}"


def _side(extension: Json) -> Iterator[str]:
    if extension["url"] == LATERALITY:
        yield from _coded(extension["valueCodeableConcept"])


def _of(system: str) -> Reader:
    def read(code: Json) -> Iterator[str]:
        yield f"{system}|{code}"

    return read


def _row(parameter: str, path: str, read: Reader) -> Row:
    return Row(parameter, tuple(path.split(".")), read)


_EVERY = (_row("_profile", "meta.profile", _text),)
_NAMED = (*_EVERY, _row("identifier", "identifier", _identifier))
_FOUND = (
    *_NAMED,
    _row("patient", "subject", _reference),
    _row("subject", "subject", _reference),
    _row("code", "code", _coded),
    _row("category", "category", _coded),
    _row("date", "effectiveDateTime", _date),
    _row("performer", "performer", _reference),
    _row("encounter:identifier", "encounter", _logical),
)
ROWS: Mapping[str, tuple[Row, ...]] = {
    "Observation": (
        *_FOUND,
        _row("status", "status", _of(OBSERVATION_STATUS)),
        _row("-body-site", "bodySite", _coded),
        _row("-laterality", "bodySite.extension", _side),
        _row("method", "method", _coded),
        _row("data-absent-reason", "dataAbsentReason", _coded),
        _row("value-quantity", "valueQuantity", _quantity),
        _row("value-concept", "valueCodeableConcept", _coded),
        _row("component-code", "component.code", _coded),
        _row("component-value-quantity", "component.valueQuantity", _quantity),
        _row("derived-from", "derivedFrom", _reference),
        _row("has-member", "hasMember", _reference),
    ),
    "DiagnosticReport": (
        *_FOUND,
        _row("status", "status", _of(REPORT_STATUS)),
        _row("result", "result", _reference),
    ),
    "Provenance": (
        *_EVERY,
        _row("target", "target", _reference),
        _row("agent", "agent.who", _reference),
        _row("entity", "entity.what", _reference),
    ),
    "Patient": (
        *_NAMED,
        _row("birthdate", "birthDate", _date),
        _row("gender", "gender", _of(GENDER)),
    ),
    "QuestionnaireResponse": (
        *_NAMED,
        _row("status", "status", _of(RESPONSE_STATUS)),
        _row("questionnaire", "questionnaire", _canonical),
        _row("patient", "subject", _party),
        _row("subject", "subject", _party),
        _row("author", "author", _party),
        _row("authored", "authored", _date),
        _row("encounter:identifier", "encounter", _logical),
    ),
    "Practitioner": _NAMED,
    "Organization": _NAMED,
}


def searched(resources: Sequence[tuple[str, bytes]]) -> list[list[SearchValue]]:
    """Return the search values of resources that were stored together, as type and JSON text.

    A Provenance does not name the patient; it is that of the report it was stored with.
    """
    parsed = [(kind, from_json(text, float_mode="decimal")) for kind, text in resources]
    found = [list(_values(kind, resource)) for kind, resource in parsed]
    patients = {
        value
        for (kind, _), values in zip(parsed, found, strict=True)
        for value in values
        if kind == "DiagnosticReport" and value.parameter == "patient"
    }
    for (kind, _), values in zip(parsed, found, strict=True):
        if kind == "Provenance":
            values += sorted(patients)
    return found


def _values(kind: str, resource: Json) -> Iterator[SearchValue]:
    for parameter, path, read in ROWS.get(kind, ()):
        for element in _elements(resource, path):
            for value in read(element):
                yield SearchValue(parameter, value)


def _elements(resource: Json, path: Sequence[str]) -> Iterator[Json]:
    here = [resource]
    for name in path:
        found = [one[name] for one in here if name in one]
        here = [item for one in found for item in (one if isinstance(one, list) else (one,))]
    yield from here
