"""One archive for an auditor: every version of an exam, and what the audit tells of it (AUD-13)."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, NamedTuple

import orjson

from brachium.coding.identity import Ids
from brachium.store.criteria import Criterion, Is, Order, Search

if TYPE_CHECKING:
    from brachium.export.export import Export
    from brachium.store.port import Store

# entries of zip archives are given this time, so that the same content gives the same bytes
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_PAGE = 500


class Evidence(NamedTuple):
    """The zip archive, and the manifest in it."""

    archive: bytes
    manifest: bytes


def evidence(store: Store, export: Export, exam_id: str) -> Evidence | None:
    """Return everything about an exam; ``None`` when it is not stored."""
    versions = store.versions(exam_id)
    if not versions:
        return None
    files: dict[str, bytes] = {}
    for one in versions:
        files[f"version-{one.version}/exam.json"] = one.content
        bundle = export.bundle(exam_id, "collection", one.version)
        files[f"version-{one.version}/collection.json"] = bundle or b""
        files[f"version-{one.version}/provenance.ndjson"] = b"".join(
            row.text + b"\n"
            for row in store.resources(exam_id, one.version)
            if row.type == "Provenance"
        )
    files["audit-events.ndjson"] = b"".join(line + b"\n" for line in _events(store, exam_id))
    files["audit-head.json"] = orjson.dumps(asdict(store.head()))
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())}
    manifest = orjson.dumps({"sha-256": digests}, option=orjson.OPT_INDENT_2)
    return Evidence(_zipped({"manifest.json": manifest, **files}), manifest)


def _events(store: Store, exam_id: str) -> Iterator[bytes]:
    """Yield the AuditEvents about the report of an exam, oldest first."""
    report = Is(f"DiagnosticReport/{Ids(exam_id).of('DiagnosticReport')}")
    asked = Search("AuditEvent", (Criterion(("entity",), (report,)),), (Order("date"),))
    page = store.search(asked, _PAGE)
    yield from (row.text for row in page.rows)
    while page.has_next:
        page = store.search(asked, _PAGE, page.at, page.last, total=False)
        yield from (row.text for row in page.rows)


def _zipped(files: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name, _NO_TIME), data, zipfile.ZIP_DEFLATED)
    return held.getvalue()
