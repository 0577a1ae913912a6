"""Exams in: intake, corrections, withdrawals. The exam's bytes go to the intake as they came."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Annotated

from fastapi import Path, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from brachium.api import documents
from brachium.api.faults import Conflict, Fault, NotFound, NotJson, Refused, Several, Stale
from brachium.api.media import FHIR_JSON, JSON
from brachium.api.occasion import occasion
from brachium.api.preferences import Return, applied, asked_return
from brachium.api.requests import (
    envelope,
    expected_version,
    json_body,
    once_each,
    reason_in,
)
from brachium.intake.receipt import Outcome, Receipt

if TYPE_CHECKING:
    from brachium.api.service import Service
    from brachium.records import ExamVersion

FAULTS: Mapping[Outcome, type[Fault]] = {
    Outcome.BROKEN: NotJson,
    Outcome.REFUSED: Refused,
    Outcome.CONFLICT: Conflict,
    Outcome.STALE: Stale,
    Outcome.MISSING: NotFound,
    Outcome.SEVERAL: Several,
}
_HONOURED = (Return.MINIMAL, Return.REPRESENTATION)


ExamId = Annotated[
    str, Path(pattern=r"^[A-Za-z0-9.-]{1,64}$", description="The id of the exam, from Location.")
]


class PostQuery(BaseModel):
    """Query of ``POST /exams``; anything else is refused, lest a misspelt dry run be stored."""

    model_config = ConfigDict(extra="forbid")
    dry_run: Annotated[
        bool, Field(alias="dry-run", description="Check and code only; store nothing.")
    ] = False


class NoQuery(BaseModel):
    """An operation without parameters."""

    model_config = ConfigDict(extra="forbid")


def etag(version: int) -> str:
    """Return the weak entity tag of a version (FHIR R4 http 3.1.0.1.3)."""
    return f'W/"{version}"'


class Reception:
    """The operations that bring an exam in or change it.

    Each runs as one task in one thread, from the bytes of the body to the bytes of the answer.
    """

    def __init__(self, service: Service) -> None:
        self._service = service
        self._intake = service.intake

    async def post(self, request: Request, query: Annotated[PostQuery, Query()]) -> Response:
        """Take one exam, or with ``dry-run`` only say what would become of it."""
        once_each(request)
        raw = await json_body(request)
        if query.dry_run:
            return await self._service.work.run(partial(self._preview, raw))
        return await self._change(request, partial(self._intake.receive, raw, occasion(request)))

    async def put(
        self, request: Request, exam_id: ExamId, _query: Annotated[NoQuery, Query()]
    ) -> Response:
        """Correct a stored exam: the whole exam again, with the reason beside it."""
        expected = expected_version(request)
        members = envelope(await json_body(request), ("exam", "reason"), "exam")
        reason = reason_in(members)
        change = (exam_id, members["exam"], reason, expected, occasion(request))
        task = partial(self._intake.correct, *change)
        return await self._change(request, task)

    async def withdraw(
        self, request: Request, exam_id: ExamId, _query: Annotated[NoQuery, Query()]
    ) -> Response:
        """Withdraw an exam: everything of it becomes entered-in-error."""
        expected = expected_version(request)
        reason = reason_in(envelope(await json_body(request), ("reason",)))
        named = occasion(request)
        task = partial(self._intake.withdraw, exam_id, reason, expected, named)
        return await self._change(request, task)

    async def close(
        self, request: Request, exam_id: ExamId, _query: Annotated[NoQuery, Query()]
    ) -> Response:
        """Make a preliminary exam final."""
        expected = expected_version(request)
        task = partial(self._intake.close, exam_id, expected, occasion(request))
        return await self._change(request, task)

    async def _change(self, request: Request, task: Callable[[], Receipt]) -> Response:
        asked = asked_return(request, _HONOURED)
        return await self._service.work.write(partial(self._answer, task, asked))

    def _preview(self, raw: bytes) -> Response:
        receipt, exam = _agreed(self._intake.dry_run(raw))
        bundle = self._service.export.framed(exam, receipt.resources)
        canonical = self._service.settings.canonical
        body = documents.preview(exam, receipt.problems, bundle, canonical)
        return Response(body, media_type=JSON)

    def _answer(self, task: Callable[[], Receipt], asked: Return | None) -> Response:
        done = task()
        self._service.metrics.exam(done.outcome)
        receipt, exam = _agreed(done)
        status = 201 if receipt.outcome is Outcome.CREATED else 200
        where = self._service.addresses.exam(exam.id)
        headers = {"ETag": etag(exam.version), "Location": where, **applied(asked)}
        if asked is Return.MINIMAL:
            return Response(b"", status, headers)
        if asked is Return.REPRESENTATION:
            body = self._service.export.fresh(exam, receipt)
            return Response(body, status, headers, FHIR_JSON)
        return Response(documents.receipt(exam, self._service.addresses), status, headers, JSON)


def _agreed(receipt: Receipt) -> tuple[Receipt, ExamVersion]:
    """Return a receipt with the exam it is about; any other outcome is raised as its fault."""
    if receipt.outcome in FAULTS:
        raise FAULTS[receipt.outcome](*receipt.problems)
    if receipt.exam is None:
        raise RuntimeError(f"an intake that ends in {receipt.outcome} names its exam")
    return receipt, receipt.exam
