"""How the measures of one patient change from exam to exam, by Patient id or by identifier."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import Path, Query
from jiter import from_json
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.requests import Request
from starlette.responses import Response

from brachium.api import trend_json
from brachium.api.faults import BadParameter, NotFound, NotJson, Refused
from brachium.api.media import JSON, JSON_SPELLINGS
from brachium.api.requests import accepted, json_body
from brachium.assess.visits import Wanted
from brachium.exam.findings import Identifier, Word
from brachium.exam.shape import problems_of
from brachium.trend import patient_id

if TYPE_CHECKING:
    from brachium.api.service import Service

PatientId = Annotated[
    str,
    Path(
        pattern=r"^[A-Za-z0-9.-]{1,64}$",
        description="The id of the Patient resource of this service, as its references have it.",
    ),
]


class TrendQuery(BaseModel):
    """Query of a trend: which measures; everything when left out."""

    model_config = ConfigDict(extra="forbid")
    joint: Annotated[Word | None, Field(description="Only this joint.")] = None
    motion: Annotated[Word | None, Field(description="Only this motion (and the test).")] = None
    test: Annotated[Word | None, Field(description="Only this test (and the motion).")] = None
    side: Annotated[Literal["left", "right"] | None, Field(description="Only this side.")] = None

    def wanted(self) -> Wanted:
        """Return the wish in the terms of the assessment."""
        return Wanted(self.joint or "", self.motion or "", self.test or "", self.side or "")


class Asked(BaseModel):
    """Whose trend is asked for: an identifier is personal and never stands in an address."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    identifier: Identifier


class TrendPages:
    """The operations that follow a patient's measures."""

    def __init__(self, service: Service) -> None:
        self._service = service

    async def of_patient(
        self, request: Request, patient_id: PatientId, query: Annotated[TrendQuery, Query()]
    ) -> Response:
        """Return every measure of a patient as a series, each value held against earlier ones.

        Corrected exams count with their newest content, withdrawn ones are listed as left out,
        preliminary ones are marked. What was measured in another way is not compared.
        """
        return await self._answer(request, patient_id, query.wanted())

    async def of_identifier(
        self, request: Request, query: Annotated[TrendQuery, Query()]
    ) -> Response:
        """Return the same for the patient with a business identifier, which is sent as the body."""
        asked = identifier_in(await json_body(request))
        return await self._answer(request, patient_id(asked), query.wanted())

    async def _answer(self, request: Request, patient: str, wanted: Wanted) -> Response:
        accepted(request, JSON_SPELLINGS)
        for name, known in self._service.parts.trends.unknown(wanted):
            raise BadParameter(parameter=name, allowed=", ".join(sorted(known)) or "none here")
        body = await self._service.work.run(partial(self._body, patient, wanted))
        return Response(body, media_type=JSON)

    def _body(self, patient: str, wanted: Wanted) -> bytes:
        found = self._service.parts.trends.of(patient, wanted)
        if found is None:
            raise NotFound
        return trend_json.course(found, self._service.addresses, self._service.tables.edition)


def identifier_in(raw: bytes) -> Identifier:
    """Return the identifier in a body; 400 for what is not JSON, 422 with every fault otherwise."""
    try:
        data = from_json(raw, float_mode="lossless-float", catch_duplicate_keys=True)
    except ValueError:
        raise NotJson from None
    try:
        return Asked.model_validate(data, by_alias=True, by_name=False).identifier
    except ValidationError as error:
        raise Refused(*problems_of(error.errors(include_url=False))) from None
