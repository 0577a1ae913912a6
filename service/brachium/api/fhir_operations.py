"""Operations that read: everything about a patient, the latest findings, an exam as a document."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.everything import Everything, asked
from brachium.api.faults import BadParameter, NotFound
from brachium.api.fhir_requests import answered, is_strict, known, may_see, permit_chains, readable
from brachium.api.latest import latest
from brachium.api.page_links import PAGE, PageLinks
from brachium.api.requests import only_parameters
from brachium.api.search_reading import understood
from brachium.api.search_results import RESULTS
from brachium.api.served import SERVED
from brachium.formats.digest import content_digest

if TYPE_CHECKING:
    from brachium.api.searching import Searching
    from brachium.api.service import Service

_ABOUT = ("patient", "subject")


class FhirOperations:
    """The operations of the reading side; ``served.OPERATIONS`` declares each of them."""

    def __init__(self, service: Service, searching: Searching) -> None:
        self._service = service
        self._searching = searching

    async def everything(self, request: Request, patient_id: str) -> Response:
        """Return everything stored about a patient (OperationDefinition Patient-everything)."""
        readable(request)
        everything = Everything(self._searching, known(patient_id), may_see(request))
        links: PageLinks = self._searching.links
        token = request.query_params.get(PAGE)
        turned = links.turned(everything.path, token) if token is not None else None
        pairs = list(turned.pairs) if turned else request.query_params.multi_items()
        task = partial(everything.answer, asked(pairs), turned.place if turned else None)
        return answered(request, await self._service.work.run(task))

    async def lastn(self, request: Request) -> Response:
        """Return the latest findings for each code (OperationDefinition Observation-lastn)."""
        readable(request)
        pairs = request.query_params.multi_items()
        wanted = [value for name, value in pairs if name == "max"]
        if len(wanted) > 1 or not all(one.isascii() and one.isdigit() for one in wanted):
            raise BadParameter(parameter="max", allowed="a whole number, once")
        rest = [pair for pair in pairs if pair[0] != "max"]
        if not any(re.split("[:.]", name)[0] in _ABOUT for name, _ in rest):
            raise BadParameter(parameter="patient", allowed="the patient, who has to be named")
        for name, _ in rest:
            if name in RESULTS:
                raise BadParameter(parameter=name, allowed="max, and what is searched for")
        base = self._searching.base
        query = understood(SERVED["Observation"], rest, base, strict=is_strict(request))
        permit_chains(request, query)
        most = int((wanted or ["1"])[0][:6])
        task = partial(latest, self._searching, query, most)
        return answered(request, await self._service.work.run(task))

    async def composition_document(self, request: Request, composition_id: str) -> Response:
        """Return an exam as a document, by its Composition, whose id is that of the exam."""
        readable(request)
        only_parameters(request, "_format", "_pretty", "persist")
        if request.query_params.get("persist", "false") != "false":
            raise BadParameter(parameter="persist", allowed="false: documents are made on demand")
        return await self._document(request, known(composition_id))

    async def report_document(self, request: Request, report_id: str) -> Response:
        """Return the exam that a report is about as a document."""
        readable(request)
        only_parameters(request, "_format", "_pretty")
        task = partial(self._exam_of, known(report_id))
        exam = await self._service.work.run(task)
        if exam is None:
            raise NotFound
        return await self._document(request, exam)

    def _exam_of(self, report_id: str) -> str | None:
        row = self._service.store.read("DiagnosticReport", report_id)
        if row is None:
            return None
        by = orjson.loads(row.text)["identifier"][0]
        exam = self._service.store.exam_by_identifier(by["system"], by["value"])
        return exam.id if exam else None

    async def _document(self, request: Request, exam: str) -> Response:
        task = partial(self._service.export.bundle, exam, "document")
        body = await self._service.work.run(task)
        if body is None:
            raise NotFound
        found = answered(request, body)
        found.headers["Content-Digest"] = content_digest(bytes(found.body))
        return found
