"""Exams out: the exam itself, its versions, its bundles and the codings used in it."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import Path, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response

from brachium.api import documents
from brachium.api.exams import ExamId, NoQuery, etag
from brachium.api.faults import BadParameter, NotFound
from brachium.api.media import CSV, FHIR_JSON, JSON, JSON_SPELLINGS, TEXT
from brachium.api.requests import accepted, once_each, unchanged
from brachium.export import Wanted
from brachium.formats.digest import content_digest
from brachium.formats.outgoing import References
from brachium.formats.policy import OutputPolicy
from brachium.formats.register import BUNDLES, TABLES

if TYPE_CHECKING:
    from brachium.api.service import Service

Version = Annotated[
    int | None,
    Field(ge=1, le=999_999_999, description="A version of the exam; the newest when left out."),
]


FindingKey = Annotated[
    str, Path(pattern=r"^[A-Za-z0-9._-]{1,64}$", description="The key of a finding, as posted.")
]


class VersionQuery(BaseModel):
    """Query of the operations that read one version."""

    model_config = ConfigDict(extra="forbid")
    version: Version = None


class CodingsQuery(VersionQuery):
    """Query of the table of codings."""

    format: Annotated[Literal["json", "csv"] | None, Field(description="Overrides Accept.")] = None


class BundleQuery(VersionQuery):
    """Query of the bundles: which bundle, and what the receiver wants otherwise."""

    type: Annotated[
        Literal["collection", "transaction", "document"],
        Field(description="The kind of bundle."),
    ] = "collection"
    patient_ref: Annotated[
        References,
        Field(
            alias="patient-ref",
            description="How a transaction (no other bundle) points at patient, examiner and "
            "facility: as entries of the bundle, as they are stored here, by a search the "
            "receiver makes, or by identifier alone.",
        ),
    ] = References.ENTRY
    side: Annotated[
        Literal["both", "site", "code"],
        Field(description="Where the side goes besides the words: site, code, or both."),
    ] = "both"
    snomed: Annotated[
        Literal["on", "off"], Field(description="Whether SNOMED CT codings go out.")
    ] = "on"
    not_tested: Annotated[
        Literal["cancelled", "final"],
        Field(alias="not-tested", description="The status of what was not tested."),
    ] = "cancelled"

    def wanted(self) -> Wanted:
        """Return the wish in the terms of the export."""
        policy = OutputPolicy(self.side, snomed=self.snomed == "on", not_tested=self.not_tested)
        return Wanted(policy, self.patient_ref)


class Exports:
    """The operations that read stored exams."""

    def __init__(self, service: Service) -> None:
        self._service = service

    async def exam(
        self, request: Request, exam_id: ExamId, query: Annotated[VersionQuery, Query()]
    ) -> Response:
        """Return an exam as it was posted, with its status, problems and links."""
        accepted(request, JSON_SPELLINGS)
        found = await self._service.work.run(partial(self._exam, exam_id, query.version))
        if found is None:
            raise NotFound
        version, body = found
        tag = etag(version)
        if unchanged(request, tag):
            return Response(status_code=304, headers={"ETag": tag})
        return Response(body, 200, {"ETag": tag}, JSON)

    async def versions(
        self, request: Request, exam_id: ExamId, _query: Annotated[NoQuery, Query()]
    ) -> Response:
        """List every version of an exam, newest first."""
        accepted(request, JSON_SPELLINGS)
        found = await self._service.work.run(partial(self._service.store.versions, exam_id))
        if not found:
            raise NotFound
        body = documents.versions(found, exam_id, self._service.addresses)
        return Response(body, media_type=JSON)

    async def bundle(
        self, request: Request, exam_id: ExamId, query: Annotated[BundleQuery, Query()]
    ) -> Response:
        """Return an exam version as a bundle; the same version gives the same bytes."""
        accepted(request, (FHIR_JSON, *JSON_SPELLINGS))
        if "patient_ref" in query.model_fields_set and query.type != "transaction":
            raise BadParameter(parameter="patient-ref", allowed="with type=transaction only")
        task = partial(
            self._service.export.bundle, exam_id, query.type, query.version, query.wanted()
        )
        body = await self._service.work.run(task)
        if body is None:
            raise NotFound
        digest = {"Content-Digest": content_digest(body)}
        return Response(body, 200, digest, BUNDLES[query.type].media_type)

    async def codings(
        self, request: Request, exam_id: ExamId, query: Annotated[CodingsQuery, Query()]
    ) -> Response:
        """Return every coding that went out with an exam version, and where it stands."""
        once_each(request)
        media = {"csv": CSV, "json": JSON, None: ""}[query.format]
        if not media:
            media = accepted(request, (JSON, CSV, *JSON_SPELLINGS[1:]))
        task = partial(self._service.export.codings, exam_id, query.version)
        rows = await self._service.work.run(task)
        if rows is None:
            raise NotFound
        form = TABLES["csv" if media == CSV else "json"]
        return Response(form.write(rows), media_type=form.media_type)

    async def assessment(
        self, request: Request, exam_id: ExamId, query: Annotated[VersionQuery, Query()]
    ) -> Response:
        """Return what was judged and worked out when an exam version was stored."""
        accepted(request, JSON_SPELLINGS)
        task = partial(self._service.store.exam, exam_id, query.version)
        stored = await self._service.work.run(task)
        if stored is None:
            raise NotFound
        return Response(stored.assessment, media_type=JSON)

    async def note(
        self, request: Request, exam_id: ExamId, query: Annotated[VersionQuery, Query()]
    ) -> Response:
        """Return the account of an exam version in plain words."""
        accepted(request, (TEXT,))
        task = partial(self._service.export.account, exam_id, query.version)
        text = await self._service.work.run(task)
        if text is None:
            raise NotFound
        return Response(text, media_type=f"{TEXT}; charset=utf-8")

    async def explanation(
        self,
        request: Request,
        exam_id: ExamId,
        key: FindingKey,
        query: Annotated[VersionQuery, Query()],
    ) -> Response:
        """Return what was posted of one finding, how it was judged, and the codes it became."""
        accepted(request, JSON_SPELLINGS)
        task = partial(self._service.export.explanation, exam_id, key, query.version)
        chain = await self._service.work.run(task)
        if chain is None:
            raise NotFound
        return Response(chain, media_type=JSON)

    def _exam(self, exam_id: str, version: int | None) -> tuple[int, bytes] | None:
        stored = self._service.store.exam(exam_id, version)
        if stored is None:
            return None
        return stored.version, self._service.export.exam_json(stored)
