"""$validate: what would be said of a resource, without storing it (matrix WRT-13)."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, TypeAlias

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.answers import outcome
from brachium.api.faults import BadParameter, NotSupported
from brachium.api.fhir_parameters import Asked, gathered, given
from brachium.api.fhir_requests import answered, readable
from brachium.api.requests import fhir_object
from brachium.api.served import VALIDATED
from brachium.profiles import remarks
from brachium.profiles.judging import Judging, type_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brachium.api.service import Service
    from brachium.problems import Problem

Json: TypeAlias = Any

_NAMES = ("resource", "profile", "mode")
_MODES = ("", "create", "update", "delete")


class FhirValidate:
    """The operation $validate of every type that an exam is made of."""

    def __init__(self, service: Service) -> None:
        self._service = service
        model = service.intake.desk.model
        self._judging = Judging(service.tables, service.settings.canonical, model)

    async def validate(self, request: Request, resource_type: str) -> Response:
        """Judge a resource by R4, by the profiles of this service and by its own rules.

        Answers 200 whether it is good or not: the outcome says so. Nothing is stored.
        """
        if resource_type not in VALIDATED:
            raise NotSupported
        readable(request)
        wanted = await _asked(request)
        mode = wanted.text("mode")
        if mode not in _MODES:
            raise BadParameter(parameter="mode", allowed="create, update or delete")
        resource, profile = wanted.one("resource"), wanted.text("profile")
        if resource is None and mode != "delete":
            raise BadParameter(parameter="resource", allowed="the resource to be judged")
        task = partial(self._judged, resource, profile, resource_type, mode)
        found = outcome(await self._service.work.run(task), self._service.settings.canonical)
        return answered(request, orjson.dumps(found))

    def _judged(self, resource: Json, profile: str, kind: str, mode: str) -> tuple[Problem, ...]:
        told = tuple(_about(resource, kind, mode))
        return told if mode == "delete" else (*told, *self._judging.judge(resource, profile))


async def _asked(request: Request) -> Asked:
    """Return the parameters: the body is Parameters, or the resource itself (R4 3.2.0.1)."""
    found = await fhir_object(request)
    pairs: list[tuple[str, Json]] = list(request.query_params.multi_items())
    if found.get("resourceType") == "Parameters":
        return gathered([*pairs, *given(found)], _NAMES)
    return gathered([*pairs, ("resource", found)], _NAMES)


def _about(resource: Json, kind: str, mode: str) -> Iterator[Problem]:
    """Yield what the request itself says against the resource."""
    if mode == "delete":
        text = "Nothing is ever deleted here; an exam is withdrawn and then entered in error."
        yield replace(remarks.NOT_OURS.problem("", text, "not-supported"), place=kind)
    elif type_of(resource) != kind:
        text = f"The resource is no {kind}, which is what the address says it is."
        yield replace(remarks.VALUE.problem("", text, "invalid"), place="resourceType")
    elif mode == "update" and not resource.get("id"):
        text = "A resource that is updated has an id."
        yield replace(remarks.COUNT.problem("", text, "required"), place=f"{kind}.id")
