"""The JSON bodies that answer about exams: receipts, previews and versions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import orjson

from brachium.api.answers import outcome, plain
from brachium.coding.identity import Ids
from brachium.problems import Problem
from brachium.records import ExamVersion


@dataclass(frozen=True, slots=True)
class Addresses:
    """Every address in an answer, made from the public base and from nothing a client sends."""

    base: str

    def exam(self, identity: str) -> str:
        """Return the address of an exam."""
        return f"{self.base}/exams/{identity}"

    def bundle(self, identity: str, kind: str, version: int | None = None) -> str:
        """Return the address of one of its bundles."""
        pinned = f"&version={version}" if version else ""
        return f"{self.exam(identity)}/bundle?type={kind}{pinned}"

    def resource(self, kind: str, identity: str) -> str:
        """Return the address of a FHIR resource."""
        return f"{self.base}/fhir/{kind}/{identity}"

    def links(self, identity: str) -> dict[str, str]:
        """Return the links of a receipt; they lead to the newest version."""
        own = self.exam(identity)
        report = Ids(identity).of("DiagnosticReport")
        return {
            "self": own,
            "versions": f"{own}/versions",
            "report": self.resource("DiagnosticReport", report),
            "collection": self.bundle(identity, "collection"),
            "transaction": self.bundle(identity, "transaction"),
            "document": self.bundle(identity, "document"),
            "codings": f"{own}/codings",
            "assessment": f"{own}/assessment",
            "note": f"{own}/note",
        }


def findings(exam: ExamVersion) -> int:
    """Return how many findings an exam version holds, as posted.

    Counted in the canonical text: ``"kind":"`` stands there once for each finding, and inside a
    string its quotes would be escaped.
    """
    return exam.content.count(b'"kind":"')


def receipt(stored: ExamVersion, addresses: Addresses) -> bytes:
    """Return what a client is told about a stored exam version."""
    return orjson.dumps(
        {
            "id": stored.id,
            "identifier": {"system": stored.system, "value": stored.value},
            "version": stored.version,
            "status": stored.status.value,
            "recorded": stored.recorded,
            "findings": findings(stored),
            "links": addresses.links(stored.id),
            "problems": orjson.Fragment(stored.problems or b"[]"),
            "assessment": orjson.Fragment(stored.assessment),
        }
    )


def preview(exam: ExamVersion, problems: Sequence[Problem], bundle: bytes, canonical: str) -> bytes:
    """Return the answer to a dry run that would have been accepted (EXM-07)."""
    return orjson.dumps(
        {
            "accepted": True,
            "findings": findings(exam),
            "outcome": outcome(problems, canonical),
            "bundle": orjson.Fragment(bundle),
            "problems": [plain(problem) for problem in problems],
            "assessment": orjson.Fragment(exam.assessment),
        }
    )


def versions(stored: Iterable[ExamVersion], identity: str, addresses: Addresses) -> bytes:
    """Return every version of an exam, newest first."""
    rows = [
        {
            "version": one.version,
            "status": one.status.value,
            "recorded": one.recorded,
            "reason": one.reason,
            "digest": one.digest,
            "edition": one.edition,
            "links": {
                "self": f"{addresses.exam(identity)}?version={one.version}",
                "collection": addresses.bundle(identity, "collection", one.version),
            },
        }
        for one in sorted(stored, key=lambda one: -one.version)
    ]
    return orjson.dumps({"id": identity, "versions": rows})
