"""Stored text given back another status: what was recorded stays word for word.

A withdrawal must not recode: the tables may have moved on, and what is withdrawn is what was sent.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from brachium.formats import lossless
from brachium.formats.head import parts
from brachium.records import Resource

if TYPE_CHECKING:
    from brachium.records import StoredResource

# The codes of FHIR R4 observation-status and diagnostic-report-status in use here. Narrative has
# a status too, but of other codes, so the first match is the status of the resource itself.
_STATUS = re.compile(
    rb'"status":"(preliminary|final|amended|corrected|cancelled|entered-in-error)"'
)
IN_ERROR = "entered-in-error"


@dataclass(frozen=True, slots=True)
class Prior:
    """A resource as the previous exam version had it."""

    resource: Resource
    version: int

    @property
    def status(self) -> str:
        """Its status code."""
        return status_of(self.resource)


def prior(row: StoredResource) -> Prior:
    """Turn a stored row back into the resource it was made of."""
    split = parts(row)
    profile = tuple(url.strip('"') for url in split.profile.decode().split(",") if url)
    resource = Resource(
        row.type,
        row.id,
        split.body,
        version=row.version,
        issued=split.issued,
        profile=profile,
    )
    return Prior(resource, row.version)


def status_of(resource: Resource) -> str:
    """Return the status code of an Observation or DiagnosticReport; ``ValueError`` without one."""
    match = _STATUS.search(resource.body)
    if match is None:
        raise ValueError(f"{resource.type}/{resource.id} has no status")
    return match[1].decode()


def with_status(resource: Resource, status: str) -> Resource:
    """Return the resource with another status, nothing else changed."""
    body = _STATUS.sub(f'"status":"{status}"'.encode(), resource.body, count=1)
    return resource._replace(body=body)


def same_but_status(one: Resource, other: Resource) -> bool:
    """Tell whether two resources say the same, whatever their status and version."""
    return _without_status(one) == _without_status(other)


def _without_status(resource: Resource) -> tuple[bytes, tuple[str, ...]]:
    return _STATUS.sub(b"", resource.body, count=1), resource.profile


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """Why an exam is withdrawn, and how it was posted.

    ``posted`` is the status in its content, kept in the extension ``status_url``, because the
    report's own status cannot say it any more.
    """

    reason: str
    posted: str
    status_url: str


def withdrawn_report(report: Resource, withdrawal: Withdrawal) -> Resource:
    """Return a report entered in error whose conclusion and narrative say so (COR-02).

    FHIR R4 DiagnosticReport 10.3.5.5: a reader that ignores the status must still see that the
    report does not hold. The findings stay in the narrative behind the notice.
    """
    restated = with_status(report, IN_ERROR)
    content = lossless.parse(restated.body)
    reason = withdrawal.reason.strip()
    content["conclusion"] = f"This examination was withdrawn and must not be used. Reason: {reason}"
    if "text" in content:
        notice = f"Withdrawn, must not be used. Reason: {reason}"
        content["text"]["div"] = _notice_first(content["text"]["div"], notice)
    extensions = content.setdefault("extension", [])
    if not any(one["url"] == withdrawal.status_url for one in extensions):
        extensions.append({"url": withdrawal.status_url, "valueCode": withdrawal.posted})
    return restated._replace(body=lossless.write(content))


def _notice_first(div: str, notice: str) -> str:
    opening, close, rest = div.partition(">")
    return f"{opening}{close}<p>{escape(notice)}</p>{rest}"
