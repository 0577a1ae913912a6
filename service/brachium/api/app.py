"""The application: every route, the error handlers, and the edge around them."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, suppress
from functools import partial
from typing import TYPE_CHECKING, Any, TypeAlias

import orjson
from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Match, Route
from starlette.types import ASGIApp, Scope

from brachium.api.allowed import allowed_value
from brachium.api.answers import FHIR_ROOT, Answers
from brachium.api.audit import Audit
from brachium.api.audit_routes import add_audit
from brachium.api.bulk import BulkExport
from brachium.api.bulk_filters import TypeFilters
from brachium.api.bulk_routes import add_bulk, exporting
from brachium.api.capability import statement
from brachium.api.compressed import Compressed
from brachium.api.cors import Origins
from brachium.api.defined import definitions
from brachium.api.definitions import Material
from brachium.api.described import components
from brachium.api.edge import Edge
from brachium.api.exams import Reception
from brachium.api.exports import Exports
from brachium.api.faults import (
    STATUSES,
    BadParameter,
    Fault,
    NoRoute,
    NotSupported,
    Unforeseen,
    WrongMethod,
)
from brachium.api.fhir import Fhir
from brachium.api.fhir_check_routes import add_checks
from brachium.api.fhir_forms import FhirForms
from brachium.api.fhir_history import FhirHistory
from brachium.api.fhir_operations import FhirOperations
from brachium.api.fhir_refused import refusal
from brachium.api.fhir_routes import add_fhir
from brachium.api.fhir_searches import FhirSearches
from brachium.api.fhir_terms import FhirTerms
from brachium.api.fhir_validate import FhirValidate
from brachium.api.fhir_write import FhirWrite
from brachium.api.fhir_write_routes import add_fhir_forms, add_fhir_write
from brachium.api.gate import Gate
from brachium.api.groups import Groups
from brachium.api.key_fetching import Fetcher, KeyRing
from brachium.api.login import Login
from brachium.api.login_routes import add_login, guarded
from brachium.api.media import JSON
from brachium.api.metrics import MetricsPage
from brachium.api.metrics_routes import add_metrics
from brachium.api.page_links import PageLinks
from brachium.api.pages import Fixed, Pages
from brachium.api.permits import ACCESS
from brachium.api.requests import printable
from brachium.api.routes import TAGS, add_exports, add_pages, add_reception
from brachium.api.rules import listed
from brachium.api.sample import filled_sample, sample
from brachium.api.searching import Searching
from brachium.api.served import SERVED
from brachium.api.service import Service
from brachium.api.smart import configuration
from brachium.api.table_routes import add_tables
from brachium.api.tables import TablePages
from brachium.api.trail import Trail
from brachium.api.trend_routes import add_trends
from brachium.api.trends import TrendPages
from brachium.api.whose import whose
from brachium.api.work import Work
from brachium.bulk.worker import Worker
from brachium.exam.model import RULES
from brachium.exam.schema import json_schema
from brachium.store.port import StoreUnavailable

if TYPE_CHECKING:
    from brachium.wiring import Parts

# what the server is given
Application: TypeAlias = ASGIApp

# the framework can hand requests, validation errors and exception texts to tracing back ends, set
# up by environment variables; they hold patient data, so all of it stays off
NO_TELEMETRY: Any = dict.fromkeys(
    ("tracing", "metrics", "logs", "operation_spans", "auto_configure"), False
)


def allowed(app: FastAPI, scope: Scope) -> str:
    """Return every method that an address takes, for Allow (RFC 9110 10.2.1)."""
    methods: set[str] = set()
    for route in app.routes:
        if isinstance(route, Route) and route.matches(scope)[0] is not Match.NONE:
            methods |= route.methods or set()
    return ", ".join(sorted(methods | ({"HEAD"} if "GET" in methods else set())))


def translated(app: FastAPI, scope: Scope, error: Exception) -> Exception:
    """Return the framework's own exceptions as faults of ours; others are returned as they are."""
    if isinstance(error, RequestValidationError):
        first = error.errors()[0]
        name = printable(str(first["loc"][-1]))
        return BadParameter(parameter=name, allowed=allowed_value(first, scope))
    if not isinstance(error, HTTPException):
        return error
    if error.status_code == STATUSES[WrongMethod].status:
        return refusal(scope["method"], scope["path"], allowed(app, scope))
    if error.status_code == STATUSES[NoRoute].status:
        return NotSupported() if scope["path"].startswith(FHIR_ROOT) else NoRoute()
    return BadParameter() if error.status_code < STATUSES[Unforeseen].status else Unforeseen()


def answer_errors(app: FastAPI, answers: Answers) -> None:
    """Send every exception through the one table of statuses."""

    async def handle(request: Request, error: Exception) -> Response:
        return answers.error(request.scope, translated(app, request.scope, error))

    for kind in (Fault, RequestValidationError, HTTPException, *STATUSES, Exception):
        app.add_exception_handler(kind, handle)


def create_app(parts: Parts) -> Application:
    """Return the whole application; the parts are closed when it shuts down."""
    parts = parts.isolated(whose)
    service = Service(parts, Work())
    searching = searching_of(service)
    worker = Worker(exporting(parts, searching))

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        worker.start()
        yield
        worker.close()
        service.work.close()
        with suppress(StoreUnavailable):
            parts.heads.finish()
        parts.close()

    app = FastAPI(
        title="brachium",
        version=service.version,
        description="Takes structured arm examination findings, checks and codes them, and hands "
        "them over as FHIR R4.",
        openapi_tags=TAGS,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        # a redirect would be made of the Host that a client sends (matrix OPS-01)
        redirect_slashes=False,
        telemetry=NO_TELEMETRY,
        lifespan=lifespan,
    )
    settings = service.settings
    answers = Answers(settings.public_base, settings.canonical)
    answer_errors(app, answers)
    _add_routes(app, service, searching, worker)
    ACCESS.check(_routes(app))
    return Edge(
        Compressed(Trail(Gate(app, service, answers), service, answers)),
        answers,
        settings.max_body,
        origins=Origins(settings.origins),
        observe=service.metrics.request,
        hsts=settings.public_base.startswith("https://"),
    )


def _routes(app: FastAPI) -> Iterator[tuple[str, str]]:
    """Yield method and path of every route."""
    for route in app.routes:
        if isinstance(route, Route):
            yield from ((method, route.path) for method in sorted(route.methods or ()))


def searching_of(service: Service) -> Searching:
    """Return what carries searches out, of what is stored and of the definitions."""
    settings, model = service.settings, service.intake.desk.model
    material = Material(service.tables, listed(RULES), settings, service.version, model)
    known = definitions(material, Groups(service.store))
    base = f"{settings.public_base}/fhir"
    links = PageLinks(base, service.seal)
    return Searching(service.store, known, links, base, settings.canonical)


def _add_routes(app: FastAPI, service: Service, searching: Searching, worker: Worker) -> None:
    settings, tables = service.settings, service.tables
    rules = listed(RULES)
    metadata = statement(settings, service.version, tables.edition)
    schema = json_schema(tables, service.intake.desk.model)
    add_pages(app, Pages(service, rules, schema, partial(document, app, schema)))
    add_reception(app, Reception(service), sample(tables))
    add_exports(app, Exports(service))
    add_metrics(app, MetricsPage(service))
    add_trends(app, TrendPages(service))
    add_tables(app, TablePages(service))
    add_audit(app, Audit(service))
    add_fhir_write(app, FhirWrite(service))
    _add_login(app, service)
    add_fhir_forms(app, FhirForms(service), filled_sample(tables, settings.canonical))
    filters = TypeFilters(searching)
    add_bulk(app, BulkExport(service, worker.bulk, filters, worker.begun))
    _add_fhir(app, service, searching, metadata)


def _add_fhir(app: FastAPI, service: Service, searching: Searching, metadata: bytes) -> None:
    add_checks(app, FhirValidate(service), FhirTerms(service, searching.definitions))
    add_fhir(
        app,
        Fhir(service, searching.definitions, metadata),
        FhirSearches(service, searching),
        FhirHistory(service, searching.links),
        FhirOperations(service, searching),
    )


def _add_login(app: FastAPI, service: Service) -> None:
    settings = service.settings
    fetcher = Fetcher(settings.ca_file, private=settings.private_key_addresses)
    served = {kind: one.interactions for kind, one in SERVED.items()}
    smart = Fixed(lambda: orjson.dumps(configuration(settings.public_base, served)), JSON)
    add_login(app, Login(service, KeyRing(fetcher)), smart)


def document(app: FastAPI, schema: dict[str, Any]) -> dict[str, Any]:
    """Return the OpenAPI document: the framework's routes with our own schemas."""
    found = app.openapi()
    schemas = found.setdefault("components", {}).setdefault("schemas", {})
    schemas |= components(schema)
    return guarded(found)
