"""The writing side of FHIR: POST of a transaction or batch to the base."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from brachium.api.exams import FAULTS
from brachium.api.faults import Refused, TooCostly, rule, stated
from brachium.api.fhir_batch import batch
from brachium.api.media import FHIR_JSON
from brachium.api.occasion import occasion
from brachium.api.permits import permit_entries
from brachium.api.preferences import Return, applied, asked_return
from brachium.api.requests import fhir_object, only_parameters
from brachium.api.transaction_answer import transaction_response
from brachium.formats.incoming import bundle_type, is_too_long, unfit
from brachium.intake.transaction import Transacted

if TYPE_CHECKING:
    from brachium.api.service import Service
    from brachium.records import Occasion

_KINDS = ("transaction", "batch")


class FhirWrite:
    """The operations under /fhir that may store something."""

    def __init__(self, service: Service) -> None:
        self._service = service

    async def process(self, request: Request) -> Response:
        """Process a transaction, which is one exam, or a batch of requests of their own."""
        only_parameters(request, "_format")
        bundle = await fhir_object(request)
        kind = bundle_type(bundle)
        if kind not in _KINDS:
            raise Refused(_no_kind(bundle))
        if is_too_long(bundle):
            raise TooCostly
        asked = asked_return(request)
        if kind == "batch":
            return await batch(request, bundle)
        permit_entries(request.scope, bundle)
        task = partial(self._transaction, bundle, occasion(request), asked)
        return await self._service.work.write(task)

    def _transaction(self, bundle: Any, by: Occasion, asked: Return | None) -> Response:  # noqa: ANN401
        settings = self._service.settings
        done = self._service.intake.transact(bundle, f"{settings.public_base}/fhir", by)
        self._service.metrics.exam(done.receipt.outcome)
        _agreed(done)
        body = transaction_response(done, settings.public_base, settings.canonical, asked)
        return Response(body, 200, applied(asked), FHIR_JSON)


def _no_kind(bundle: Any) -> Any:  # noqa: ANN401 - JSON
    if bundle.get("resourceType") != "Bundle":
        message = (
            "Only a Bundle is processed here; findings come in as a transaction that holds a whole "
            "exam, as a QuestionnaireResponse, or as an exam at /exams."
        )
        return unfit("Bundle.resourceType", message, "not-supported")
    message = (
        "A Bundle of this type is not processed: it says nothing about what to do with its entries."
    )
    return unfit("Bundle.type", message, "not-supported")


def _agreed(done: Transacted) -> None:
    """Raise the fault of a transaction that was not stored, with its place in the bundle."""
    fault = FAULTS.get(done.receipt.outcome)
    if fault is None:
        return
    problems = done.receipt.problems or (stated(rule(fault())),)
    raise fault(*(one if one.place else replace(one, place=done.place) for one in problems))
