"""The routes of the auditor, with what the OpenAPI document says about them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.api import faults
from brachium.api.described import faults as failing
from brachium.api.media import JSON, ZIP
from brachium.api.routes import Table

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.audit import Audit

_HEAD: dict[str, Any] = {
    "description": "Number, hash and time of the last entry, signature, and the key to check it.",
    "content": {JSON: {"schema": {"type": "object"}}},
}
_ARCHIVE: dict[str, Any] = {
    "description": "A zip archive with manifest.json, which holds the SHA-256 of every other file.",
    "content": {ZIP: {"schema": {"type": "string", "format": "binary"}}},
}


def add_audit(app: FastAPI, audit: Audit) -> None:
    """Add what an auditor asks besides FHIR."""
    table = Table(app, "Service")
    always = failing(faults.BadParameter, faults.Unavailable, faults.TooLarge, faults.Unforeseen)
    table.add(
        "GET", "/audit/head", audit.head, "The end of the audit trail", {200: _HEAD, **always}
    )
    missing = failing(faults.NotFound)
    path, words = "/exams/{exam_id}/evidence", "Everything about one exam, for an auditor"
    table.add("GET", path, audit.evidence, words, {200: _ARCHIVE, **always, **missing})
