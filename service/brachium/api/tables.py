"""Flat tables over HTTP: which there are, and each as CSV, NDJSON or Parquet, as it is made."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from functools import partial
from typing import TYPE_CHECKING, Annotated, Literal

import orjson
from fastapi import Path, Query
from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from brachium.api.exams import NoQuery
from brachium.api.faults import BadParameter, NotFound
from brachium.api.media import CSV, JSON, JSON_SPELLINGS
from brachium.api.requests import accepted, once_each
from brachium.export.flat import FlatTables, Window, window
from brachium.export.written import FORMATS

if TYPE_CHECKING:
    from brachium.api.service import Service

# the media type without its parameters, as Accept names it
_NAMES = {form.media_type.partition(";")[0]: name for name, form in FORMATS.items()}


def _date(text: str) -> str:
    window(text)
    return text


Date = Annotated[
    str,
    Field(pattern=r"^[0-9]{4}(-[0-9]{2}(-[0-9]{2}(T[0-9:.]{8,16}(Z|[+-][0-9]{2}:[0-9]{2}))?)?)?$"),
    AfterValidator(_date),
]
TableName = Annotated[str, Path(pattern=r"^[a-z_]{1,64}$", description="The name of a table.")]


class TableQuery(BaseModel):
    """Query of a flat table."""

    model_config = ConfigDict(extra="forbid")
    form: Annotated[
        Literal["csv", "ndjson", "parquet"] | None,
        Field(alias="_format", description="Overrides Accept."),
    ] = None
    low: Annotated[
        Date, Field(alias="from", description="Exams examined on this day or later, in UTC.")
    ] = ""
    high: Annotated[Date, Field(alias="to", description="Exams examined up to this day.")] = ""
    since: Annotated[
        Date, Field(description="Exams recorded, corrected or withdrawn at this moment or later.")
    ] = ""

    def window(self) -> Window:
        """Return which exams are asked for."""
        return window(self.low, self.high, self.since)


class TablePages:
    """The operations that read flat tables."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._flat = FlatTables(service.export)

    async def listed(self, request: Request, _query: Annotated[NoQuery, Query()]) -> Response:
        """List the tables, each with its columns and its ViewDefinition (SQL on FHIR v2)."""
        accepted(request, JSON_SPELLINGS)
        base = self._service.settings.public_base
        found = [
            {
                "name": table.name,
                "url": f"{base}/views/{table.name}",
                "columns": [{"name": one.name, "type": one.type} for one in table.columns],
                "view": view.definition if (view := self._flat.views.get(table.name)) else None,
            }
            for table in self._flat.tables.values()
        ]
        return Response(orjson.dumps(found), media_type=JSON)

    async def table(
        self, request: Request, name: TableName, query: Annotated[TableQuery, Query()]
    ) -> Response:
        """Return a table as it is made, exam after exam; nothing is held back until the end."""
        once_each(request)
        form = query.form or _asked(request)
        if name not in self._flat.tables:
            raise NotFound
        return await self._streamed(name, form, query.window())

    async def exams(self, request: Request, query: Annotated[TableQuery, Query()]) -> Response:
        """Return the findings of all exams as CSV: the view ``findings`` under another address."""
        once_each(request)
        if query.form not in (None, "csv"):
            raise BadParameter(parameter="_format", allowed="csv")
        return await self._streamed("findings", "csv", query.window())

    async def _streamed(self, name: str, form: str, wanted: Window) -> Response:
        pieces = self._flat.written(name, form, wanted)
        # what fails before the first piece still gets a status of its own
        first = await self._service.work.run(partial(next, pieces, b""))
        body = self._rest(first, pieces)
        return StreamingResponse(body, 200, media_type=FORMATS[form].media_type)

    async def _rest(self, first: bytes, pieces: Iterator[bytes]) -> AsyncIterator[bytes]:
        piece: bytes | None = first
        while piece is not None:
            yield piece
            piece = await self._service.work.run(partial(next, pieces, None))


def _asked(request: Request) -> str:
    """Return the form that Accept asks for: CSV unless it says otherwise."""
    offers = (CSV, *(media for media in _NAMES if media != CSV))
    return _NAMES[accepted(request, offers)]
