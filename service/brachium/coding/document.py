"""The Composition of an exam document, made of stored rows alone.

FHIR R4 documents 3.3.1: a receiver may show nothing but the narrative of the Composition and its
sections, so everything that was found stands there in words, with the digits as written.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any, TypeAlias

import jiter
import orjson

from brachium.records import StoredResource

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from brachium.records import ExamVersion

Json: TypeAlias = Any

IN_ERROR = "entered-in-error"
# FHIR R4 composition-status has no "corrected": both kinds of change are an amended document
_STATUSES = {"corrected": "amended"}
# what a JSON string may hold and XML 1.0, and so a narrative, may not
_NOT_XML = str.maketrans({"\ufffe": "\ufffd", "\uffff": "\ufffd"})
_DIV = '<div xmlns="http://www.w3.org/1999/xhtml">'


def composition(exam: ExamVersion, rows: Sequence[StoredResource]) -> StoredResource:
    """Return the Composition of an exam version.

    One section for the report, one for each panel with a line for every member, and one naming
    what was entered in error. Raises ``ValueError`` when the rows hold no DiagnosticReport.
    """
    exam_rows = [_parsed(row) for row in rows if row.type in ("DiagnosticReport", "Observation")]
    report = next((one for one in exam_rows if one["resourceType"] == "DiagnosticReport"), None)
    if report is None:
        raise ValueError("an exam without a report has no document")
    observations = {one["id"]: one for one in exam_rows if one["resourceType"] == "Observation"}
    # an exam has one document, which is found by the id of the exam
    identity = exam.id
    content = {
        "resourceType": "Composition",
        "id": identity,
        "meta": {"versionId": str(exam.version), "lastUpdated": exam.recorded},
        "identifier": {"system": "urn:ietf:rfc:3986", "value": f"urn:uuid:{identity}"},
        "status": _STATUSES.get(exam.status.value, exam.status.value),
        "type": report["code"],
        "subject": report["subject"],
        **({"encounter": report["encounter"]} if "encounter" in report else {}),
        "date": exam.recorded,
        "author": report["performer"],
        "title": report["code"]["text"],
        "section": list(_sections(report, observations)),
    }
    text = orjson.dumps(content, default=_digits)
    return StoredResource("Composition", identity, exam.version, exam.recorded, text)


def _parsed(row: StoredResource) -> Json:
    return jiter.from_json(row.text, float_mode="lossless-float")


def _digits(value: Json) -> orjson.Fragment:
    if isinstance(value, jiter.LosslessFloat):
        return orjson.Fragment(bytes(value))
    raise TypeError(type(value).__name__)


@dataclass(frozen=True, slots=True)
class _Line:
    """One line of a section: what was looked at, and what was found."""

    what: str
    found: str


def _sections(report: Json, observations: dict[str, Json]) -> Iterable[Json]:
    yield _overview(report)
    shown = set()
    for panel_id in _ids(report.get("result", ())):
        panel = observations[panel_id]
        members = [observations[one] for one in _ids(panel.get("hasMember", ()))]
        shown |= {panel_id, *(member["id"] for member in members)}
        lines = [_Line(member["code"]["text"], found(member)) for member in members]
        yield _section(panel["code"]["text"], _table(lines), [panel, *members])
    rest = [one for key, one in observations.items() if key not in shown]
    if rest:
        # never valid findings: what a valid exam holds is in a panel (msk-pan-1)
        lines = [_Line(one["code"]["text"], f"does not hold ({one['status']})") for one in rest]
        yield _section("Entered in error", _table(lines), rest)


def _overview(report: Json) -> Json:
    div = report["text"]["div"] if "text" in report else _div(_plain(report.get("conclusion", "")))
    return {
        "title": "Report",
        "text": {"status": "generated", "div": div},
        "entry": [_reference(report)],
    }


def _section(title: str, div: str, entries: Iterable[Json]) -> Json:
    return {
        "title": title,
        "text": {"status": "generated", "div": div},
        "entry": [_reference(one) for one in entries],
    }


def _reference(resource: Json) -> Json:
    return {"reference": f"{resource['resourceType']}/{resource['id']}"}


def _ids(references: Iterable[Json]) -> Iterable[str]:
    return (one["reference"].split("/")[1] for one in references)


def _table(lines: Iterable[_Line]) -> str:
    rows = "".join(
        f"<tr><td>{_plain(line.what)}</td><td>{_plain(line.found)}</td></tr>" for line in lines
    )
    return _div(f"<table><tbody>{rows}</tbody></table>")


def _plain(text: str) -> str:
    return escape(text.translate(_NOT_XML))


def _div(inner: str) -> str:
    return f"{_DIV}{inner or '-'}</div>"


def found(observation: Json) -> str:
    """Return everything an Observation says about its finding, in words."""
    said = [_value(observation)]
    said += [f"{_words(part['code'])}: {_value(part)}" for part in observation.get("component", ())]
    said += [f"note: {note['text']}" for note in observation.get("note", ())]
    text = "; ".join(part for part in said if part)
    return f"ENTERED IN ERROR: {text}" if observation["status"] == IN_ERROR else text


def _value(part: Json) -> str:
    if "valueQuantity" in part:
        return f"{part['valueQuantity']['value']} {part['valueQuantity']['unit']}"
    return _words(part.get("valueCodeableConcept") or part.get("dataAbsentReason") or {})


def _words(concept: Json) -> str:
    if "text" in concept:
        return str(concept["text"])
    return next((str(c["display"]) for c in concept.get("coding", ()) if "display" in c), "")
