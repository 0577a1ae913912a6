"""The QuestionnaireResponse of an exam version as a resource that can be stored."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import orjson

from brachium.coding.fhir import OwnUrls
from brachium.coding.identity import Ids, exam_id
from brachium.coding.options import Stamp
from brachium.coding.response_writing import STATUSES, TOLD, response_content
from brachium.exam.findings import Exam, Identifier
from brachium.records import Resource

if TYPE_CHECKING:
    from brachium.tables.load import Tables

TYPE = "QuestionnaireResponse"
_EXTENSION = "exam-status"


def response(exam: Exam, tables: Tables, canonical: str, stamp: Stamp) -> Resource:
    """Return the response of an exam version; ``LookupError`` for what the tables cannot say."""
    content = response_content(
        exam, tables, canonical, status=stamp.report_status, authored=stamp.recorded
    )
    return Resource(
        type=TYPE,
        id=response_id(exam.identifier),
        body=orjson.dumps(content),
        version=stamp.version,
    )


def response_id(identifier: Identifier) -> str:
    """Return the id of the response of an exam, the same in all its versions."""
    return Ids(exam_id(identifier)).of(TYPE)


def restated(
    content: Mapping[str, Any], canonical: str, status: str, authored: str
) -> dict[str, Any]:
    """Return a response with the status of another exam version; its answers stay as they are.

    ``content`` is the stored response, ``status`` that of the exam version. A withdrawal does not
    code anew (COR-02): what is withdrawn is what was recorded, whatever the tables say today.
    """
    posted = _posted(content, canonical)
    found = {name: value for name, value in content.items() if name != "extension"}
    found |= {"status": STATUSES[status], "authored": authored}
    if TOLD.get(found["status"], "final") != posted:
        url = OwnUrls(canonical).definition(_EXTENSION)
        found["extension"] = [{"url": url, "valueCode": posted}]
    return found


def _posted(content: Mapping[str, Any], canonical: str) -> str:
    """Return the status that the exam was posted with."""
    url = OwnUrls(canonical).definition(_EXTENSION)
    for extension in content.get("extension", ()):
        if extension["url"] == url:
            return str(extension["valueCode"])
    return TOLD.get(content["status"], "final")
