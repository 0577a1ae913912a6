"""Histories of a resource, of a type, of everything (FHIR R4 http 3.1.0.12)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from brachium.api import fhir_bundles as bundles
from brachium.api.allowed import names
from brachium.api.faults import BadSearch, NotFound
from brachium.api.fhir_requests import answered, known, readable, served
from brachium.api.page_links import PAGE, PageLinks, Place
from brachium.api.requests import printable
from brachium.api.search_dates import period
from brachium.api.search_query import DEFAULT_COUNT, MOST, UNKNOWN, VALUE, about

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.api.service import Service
    from brachium.problems import Problem

_PARAMETERS = ("_since", "_at", "_count")
_APART = frozenset({"_format", "_pretty"})


@dataclass(slots=True)
class Span:
    """Which versions are wanted; ``low`` and ``high`` are instants, ``high`` no longer in it.

    With ``_since`` the versions stored then or later; with ``_at`` those that were the newest at
    some time within the period.
    """

    since: str | None = None
    at: tuple[str, str] | None = None
    count: int = DEFAULT_COUNT


class FhirHistory:
    """Answers with every version, newest first."""

    def __init__(self, service: Service, links: PageLinks) -> None:
        self._service = service
        self._links = links
        self._base = f"{service.settings.public_base}/fhir"

    async def of_resource(self, request: Request, resource_type: str, resource_id: str) -> Response:
        """Return the versions of a resource."""
        served(request, resource_type, "history-instance")
        return await self._answer(request, resource_type, known(resource_id))

    async def of_type(self, request: Request, resource_type: str) -> Response:
        """Return the versions of every resource of a type."""
        served(request, resource_type, "history-type")
        return await self._answer(request, resource_type, None)

    async def of_everything(self, request: Request) -> Response:
        """Return every version of everything that is stored."""
        readable(request)
        return await self._answer(request, None, None)

    async def _answer(self, request: Request, kind: str | None, identity: str | None) -> Response:
        path = "/".join(part for part in (kind, identity, "_history") if part)
        pairs = request.query_params.multi_items()
        place = None
        token = request.query_params.get(PAGE)
        if token is not None:
            turned = self._links.turned(path, token)
            pairs, place = list(turned.pairs), turned.place
        pairs = [(name, value) for name, value in pairs if name not in _APART]
        task = partial(self._body, path, kind, identity, pairs, place)
        return answered(request, await self._service.work.run(task))

    def _body(
        self,
        path: str,
        kind: str | None,
        identity: str | None,
        pairs: list[tuple[str, str]],
        place: Place | None,
    ) -> bytes:
        span, here = spanned(pairs), place or Place()
        store = self._service.store
        if identity and store.read(kind or "", identity) is None:
            raise NotFound
        asked = (kind, identity, span.since, span.at, span.count or 1)
        page = store.history(*asked, here.at, here.after, total=here.total is None)
        total = here.total if here.total is not None else page.total
        links = {"self": self._links.own(path, pairs, place)}
        if page.has_next and span.count:
            following = Place(page.at, after=page.last, total=total)
            links["next"] = self._links.link(path, pairs, following)
        rows = page.rows if span.count else ()
        entries = (bundles.version(self._base, row) for row in rows)
        return bundles.bundle("history", total, links, entries)


def spanned(pairs: Iterable[tuple[str, str]]) -> Span:
    """Return what is wanted of a history; :class:`BadSearch` with every problem."""
    span, taken = Span(), set[str]()
    problems: list[Problem] = []
    for name, value in pairs:
        if name not in _PARAMETERS:
            problems.append(_unknown(name))
            continue
        try:
            _take(span, name, value, again=name in taken)
        except ValueError as refused:
            message = f"The parameter {name} has a value that cannot be used."
            problems.append(about(VALUE, name, message, "value", f"Allowed: {refused}."))
        taken.add(name)
    if problems:
        raise BadSearch(*problems)
    return span


def _take(span: Span, name: str, value: str, *, again: bool) -> None:
    if again:
        raise ValueError("the parameter once")
    if name == "_count":
        if not re.fullmatch(r"[0-9]{1,6}", value):
            raise ValueError("a whole number of up to six digits")
        span.count = min(int(value), MOST)
        return
    found = period(value)
    if found.prefix != "eq" or value[:1].isalpha():
        raise ValueError("a date or a time without a prefix")
    if name == "_since":
        span.since = found.low
    else:
        span.at = (found.low, found.high)


def _unknown(name: str) -> Problem:
    shown = printable(name)
    message = f"The parameter {shown} is not known here."
    remedy = f"Allowed: {names(_PARAMETERS)}."
    return about(UNKNOWN, shown, message, "not-supported", remedy)
