"""The DiagnosticReport: the envelope of an exam, and the place of what has no Observation."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from brachium.coding.derived import reference
from brachium.coding.frame import Frame
from brachium.coding.jsontext import dump, inside
from brachium.coding.narrative import Account
from brachium.coding.vocabulary import Vocabulary
from brachium.exam.findings import Finding
from brachium.exam.leaves import Leaf
from brachium.records import Resource

REPORT = "arm-exam-report"
REPORT_CATEGORY = "physical-examination-report"


def report(
    told: Account,
    panels: Sequence[Resource],
    skipped: Sequence[Leaf],
    vocabulary: Vocabulary,
    frame: Frame,
) -> Resource:
    """Return the report; ``skipped`` are the leaves that were not examined (EXM-15)."""
    status = frame.stamp.report_status
    by = frame.exam.identifier
    panel_text = ",".join(reference(panel) for panel in panels)
    result = f',"result":[{panel_text}]' if panels else ""
    text = {"status": "generated", "div": told.div}
    extensions = _extensions(skipped, vocabulary, frame)
    body = (
        f'{{"text":{dump(text)},{extensions}'
        f'"identifier":[{dump({"system": by.system, "value": by.value})}],"status":"{status}",'
        f"{_static(vocabulary)},{frame.shared},"
        f'"performer":[{{"reference":"{frame.examiner}"}},{{"reference":"{frame.facility}"}}]'
        f'{result},"conclusion":"{inside(told.conclusion)}"}}'
    )
    resource_id = frame.ids.of("DiagnosticReport")
    return Resource(
        type="DiagnosticReport",
        id=resource_id,
        body=body.encode(),
        version=frame.version(resource_id),
        issued=True,
    )


@lru_cache(maxsize=64)
def _static(vocabulary: Vocabulary) -> str:
    category = [{"coding": vocabulary.codings(REPORT_CATEGORY)}]
    label = vocabulary.tables.concepts[REPORT].display
    code = {"coding": vocabulary.codings(REPORT), "text": label}
    return f'"category":{dump(category)},"code":{dump(code)}'


def _extensions(skipped: Sequence[Leaf], vocabulary: Vocabulary, frame: Frame) -> str:
    """Return what R4 has no element for: exam note, status as posted, entries not examined."""
    url = vocabulary.urls.definition
    found: list[dict[str, Any]] = []
    if frame.exam.note is not None:
        found.append({"url": url("exam-note"), "valueString": frame.exam.note})
    if frame.exam.status != frame.stamp.report_status:
        found.append({"url": url("exam-status"), "valueCode": frame.exam.status})
    once = {leaf.index: leaf.finding for leaf in skipped}
    found += [_entry(finding, url("not-examined")) for finding in once.values()]
    return f'"extension":{dump(found)},' if found else ""


def _entry(finding: Finding, url: str) -> dict[str, Any]:
    """Return a finding word by word, so that it can be read back as it was posted."""
    members = finding.model_dump(mode="python", by_alias=True, exclude_none=True)
    absent = members.pop("absent")
    members.update(absent)
    parts = []
    for name, value in members.items():
        values = value if isinstance(value, tuple | list) else (value,)
        parts += [{"url": name, "valueString": str(word)} for word in values]
    return {"url": url, "extension": parts}
