"""Create, update and extraction of QuestionnaireResponse: an exam as a filled-in form."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from email.utils import format_datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.answers import header, outcome
from brachium.api.exams import FAULTS, etag
from brachium.api.faults import (
    BadParameter,
    Fault,
    IdMismatch,
    Refused,
    Unpinned,
    WrongMethod,
)
from brachium.api.media import FHIR_JSON
from brachium.api.occasion import occasion
from brachium.api.permits import permit_match
from brachium.api.preferences import Return, applied, asked_return
from brachium.api.requests import (
    expected_version,
    fhir_object,
    only_parameters,
)
from brachium.api.transaction_answer import location
from brachium.coding.response import TYPE
from brachium.exam.findings import Identifier
from brachium.formats.incoming import alternatives
from brachium.intake.filled import Filled
from brachium.intake.receipt import Outcome

if TYPE_CHECKING:
    from brachium.api.service import Service

Json = dict[str, Any]
_CONDITION = "identifier=system|value, or several such with commas between"
_FORMAT = "_format"


class FhirForms:
    """The operations that take filled-in forms."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._intake = service.intake

    async def create(self, request: Request) -> Response:
        """Take a filled-in form in as a new exam; If-None-Exist makes it conditional."""
        only_parameters(request, _FORMAT)
        condition = _if_none_exist(request)
        if condition is not None:
            permit_match(request.scope, TYPE)
        resource = await fhir_object(request)
        task = partial(self._intake.create_form, resource, condition, occasion(request))
        return await self._change(request, task)

    async def update(self, request: Request, resource_id: str) -> Response:
        """Correct a stored exam by its form, or withdraw it with status entered-in-error."""
        only_parameters(request, _FORMAT)
        expected = _pinned(request)
        resource = await fhir_object(request)
        if resource.get("id") != resource_id:
            raise IdMismatch
        named = occasion(request)
        task = partial(self._intake.update_form, resource_id, resource, expected, named)
        return await self._change(request, task)

    async def put(self, request: Request) -> Response:
        """Update the form that ?identifier=system|value finds, or create it."""
        condition = _condition(request.url.query, "identifier")
        expected = expected_version(request) if header(request.scope, b"if-match") else None
        resource = await fhir_object(request)
        if _identifier(resource.get("identifier")) not in condition:
            raise IdMismatch
        task = partial(self._intake.put_form, condition, resource, expected, occasion(request))
        return await self._change(request, task)

    async def extract(self, request: Request) -> Response:
        """Return the transaction that a filled-in form would become; nothing is stored."""
        only_parameters(request, _FORMAT)
        resource = _sent_form(await fhir_object(request))
        return await self._service.work.run(partial(self._extracted, resource))

    async def _change(self, request: Request, task: Callable[[], Filled]) -> Response:
        asked = asked_return(request)
        return await self._service.work.write(partial(self._answer, task, asked))

    def _extracted(self, resource: Json) -> Response:
        receipt = self._intake.extract(resource)
        if receipt.exam is None:
            raise Refused(*receipt.problems)
        body = self._service.export.framed(receipt.exam, receipt.resources, "transaction")
        return Response(body, 200, {}, FHIR_JSON)

    def _answer(self, task: Callable[[], Filled], asked: Return | None) -> Response:
        filled = task()
        self._service.metrics.exam(filled.receipt.outcome)
        row = filled.row
        if row is None:
            raise _fault(filled)
        moment = datetime.fromisoformat(row.updated).astimezone(UTC)
        settings = self._service.settings
        headers = {
            "Location": location(settings.public_base, row),
            "ETag": etag(row.version),
            "Last-Modified": format_datetime(moment, usegmt=True),
            **applied(asked),
        }
        body = row.text
        if asked is Return.MINIMAL:
            body = b""
        elif asked is Return.OUTCOME:
            body = orjson.dumps(outcome(filled.receipt.problems, settings.canonical))
        created = filled.receipt.outcome is Outcome.CREATED
        return Response(body, 201 if created else 200, headers, FHIR_JSON)


def _sent_form(content: Json) -> Json:
    """Return the form that an operation was sent, alone or as its parameter (SDC $extract)."""
    if content.get("resourceType") != "Parameters":
        return content
    listed = content.get("parameter")
    for one in listed if isinstance(listed, list) else ():
        if isinstance(one, dict) and one.get("name") == "questionnaire-response":
            resource = one.get("resource")
            if isinstance(resource, dict):
                return resource
    raise BadParameter(parameter="questionnaire-response", allowed=f"a {TYPE} as resource")


def _if_none_exist(request: Request) -> list[Identifier] | None:
    value = header(request.scope, b"if-none-exist")
    return None if value is None else _condition(value, "If-None-Exist")


def _condition(query: str, parameter: str) -> list[Identifier]:
    """Return the identifiers of a condition; 400 for any other, which must never match all."""
    found = [_identified(one) for one in alternatives(query.removeprefix("?"))]
    known = [one for one in found if one is not None]
    if not known or len(known) < len(found):
        raise BadParameter(parameter=parameter, allowed=_CONDITION)
    return known


def _identified(pair: tuple[str, str] | None) -> Identifier | None:
    return _identifier({"system": pair[0], "value": pair[1]}) if pair else None


def _identifier(by: object) -> Identifier | None:
    if not isinstance(by, dict):
        return None
    try:
        members = {"system": by.get("system"), "value": by.get("value")}
        return Identifier.model_validate(members)
    except ValueError:
        return None


def _pinned(request: Request) -> int:
    """Return the version that is changed; FHIR R4 http 3.1.0.5 wants 400 without one."""
    value = header(request.scope, b"if-match")
    if value is None or re.fullmatch(r"\s*\*?\s*", value):
        raise Unpinned(parameter="If-Match")
    return expected_version(request)


def _fault(filled: Filled) -> Fault:
    receipt = filled.receipt
    if receipt.outcome is Outcome.MISSING:
        # updateCreate is not supported: the id of a form is made of the exam's identifier
        return WrongMethod(headers={"Allow": "GET, HEAD"})
    if any(problem.code == "expected-version-missing" for problem in receipt.problems):
        return Unpinned(parameter="If-Match")
    return FAULTS[receipt.outcome](*receipt.problems)
