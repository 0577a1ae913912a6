"""One archive for an auditor: every version of an exam, and what the audit tells of it (AUD-13)."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

import orjson

from brachium.store.audit_terms import number_of
from brachium.store.chain import BEGINNING, text_of
from brachium.store.criteria import Criterion, Is, Order, Search

if TYPE_CHECKING:
    from brachium.export.export import Export
    from brachium.records import AuditRow, StoredResource
    from brachium.store.port import Store

# entries of zip archives are given this time, so that the same content gives the same bytes
_NO_TIME = (1980, 1, 1, 0, 0, 0)
_PAGE = 500
# they take part in exams of other people
_SHARED = frozenset({"Practitioner", "Organization"})


class Evidence(NamedTuple):
    """The zip archive, and the manifest in it."""

    archive: bytes
    manifest: bytes


def evidence(store: Store, export: Export, exam_id: str, head: bytes) -> Evidence | None:
    """Return everything about an exam; ``None`` when it is not stored.

    ``head`` is the signed end of the trail as JSON text. It has to be taken first: then everything
    in the archive that is told of before it can be checked against it.
    """
    versions = store.versions(exam_id)
    if not versions:
        return None
    files: dict[str, bytes] = {"audit-head.json": head}
    names: set[str] = set()
    for one in versions:
        members = store.resources(exam_id, one.version)
        names.update(f"{row.type}/{row.id}" for row in members if row.type not in _SHARED)
        provenance = [row.text for row in members if row.type == "Provenance"]
        folder = f"version-{one.version}"
        files[f"{folder}/exam.json"] = one.content
        files[f"{folder}/collection.json"] = export.framed(one, members)
        files[f"{folder}/provenance.ndjson"] = _lines(provenance)
    told = list(_told(store, exam_id, names))
    files["audit-events.ndjson"] = _lines(event for event, _ in told)
    files["audit-chain.ndjson"] = _lines(link for _, link in told)
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())}
    manifest = orjson.dumps({"sha-256": digests}, option=orjson.OPT_INDENT_2)
    return Evidence(_zipped({"manifest.json": manifest, **files}), manifest)


def _lines(texts: Iterable[bytes]) -> bytes:
    return b"".join(text + b"\n" for text in texts)


def _told(store: Store, exam_id: str, names: set[str]) -> Iterator[tuple[bytes, bytes]]:
    """Yield what the audit tells of an exam, oldest first: AuditEvent, and link of the chain.

    An answer that showed several resources at once is told by its patients only. So whatever shows
    the patient of the exam, and names no other resource, is here too.
    """
    patients = {name for name in names if name.startswith("Patient/")}
    anything = Criterion(("entity",), tuple(Is(name) for name in sorted(names)))
    asked = Search("AuditEvent", (anything,), (Order("date"),))
    page = store.search(asked, _PAGE)
    while True:
        for event in page.rows:
            row, before = _link(store, event)
            data = {name.partition("/_history/")[0] for name in row.entry.data}
            if row.entry.exam == exam_id or not data or data & (names - patients):
                yield event.text, _extract(row, before)
        if not page.has_next:
            return
        page = store.search(asked, _PAGE, page.at, page.last, total=False)


def _link(store: Store, event: StoredResource) -> tuple[AuditRow, str]:
    """Return the entry of an AuditEvent, and the hash before it in the chain."""
    number = number_of(event.id)
    *before, row = store.audit(number - 2, 2 if number > 1 else 1)
    return row, before[0].hash if before else BEGINNING.hex()


def _extract(row: AuditRow, before: str) -> bytes:
    """One link: its hash is the SHA-256 of number (8 bytes, highest first), ``before``, entry."""
    link = {"number": row.number, "before": before, "hash": row.hash}
    return orjson.dumps({**link, "entry": text_of(row.entry).decode()})


def _zipped(files: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name, _NO_TIME), data, zipfile.ZIP_DEFLATED)
    return held.getvalue()
