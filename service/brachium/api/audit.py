"""For the auditor: where the trail ends, and everything about one exam in one archive."""

from __future__ import annotations

import hashlib
from functools import partial
from typing import TYPE_CHECKING, Annotated

from fastapi import Query
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.exams import ExamId, NoQuery
from brachium.api.faults import NotFound
from brachium.api.media import JSON, ZIP
from brachium.export.evidence import evidence

if TYPE_CHECKING:
    from brachium.api.service import Service


class Audit:
    """The operations about the audit trail itself."""

    def __init__(self, service: Service) -> None:
        self._service = service

    async def head(self, _query: Annotated[NoQuery, Query()]) -> Response:
        """Return the signed end of the audit trail; keep it elsewhere, and compare it later."""
        heads = self._service.parts.heads
        head = await self._service.work.write(heads.checkpoint)
        return Response(heads.text(head), media_type=JSON)

    async def evidence(
        self, request: Request, exam_id: ExamId, _query: Annotated[NoQuery, Query()]
    ) -> Response:
        """Return an archive with every version, its Provenance and what the audit tells of it."""
        parts = self._service.parts
        head = parts.heads.text(await self._service.work.write(parts.heads.checkpoint))
        task = partial(evidence, parts.store, parts.export, exam_id, head)
        found = await self._service.work.run(task)
        if found is None:
            raise NotFound
        # the audit keeps what the manifest is, so that the archive can be told from another
        request.scope["digest"] = hashlib.sha256(found.manifest).hexdigest()
        name = f'attachment; filename="evidence-{exam_id}.zip"'
        return Response(found.archive, 200, {"Content-Disposition": name}, ZIP)
