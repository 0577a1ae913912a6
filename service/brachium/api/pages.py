"""What needs no exam: the index, the catalogue, the schema, the rules, health, the API page."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.answers import header
from brachium.api.capability import digest_tag
from brachium.api.catalogue import catalogue
from brachium.api.caution import CAUTION
from brachium.api.docs_page import POLICY, page
from brachium.api.faults import NotFound, Unavailable
from brachium.api.media import HTML, JSON, SCHEMA_JSON, choose
from brachium.api.requests import only_parameters, unchanged
from brachium.api.rule_page import rule_json, rule_page
from brachium.api.rules import rules_json
from brachium.api.smart import WELL_KNOWN
from brachium.api.worked import Worked, worked
from brachium.problems import Listed

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from brachium.api.service import Service

# who may ask, in words; the second is told when the service starts, too
TOKENS = "Every request needs an access token of a registered client."
THIS_MACHINE = (
    "No client is registered: whoever is on this machine may read and change everything, and "
    "nobody else is answered."
)
OPEN = ("docs", "openapi.json", "catalogue", "schema/exam", "rules", "live", "ready")


class Fixed:
    """One answer that is the same until the tables change; built when first asked for."""

    def __init__(
        self, make: Callable[[], bytes], media: str, headers: Mapping[str, str] | None = None
    ) -> None:
        self._make = make
        self._media = media
        self._headers = dict(headers or {})
        self._text: bytes | None = None
        self._tag = ""

    def answer(self, request: Request) -> Response:
        """Return it, or 304 when the client has it."""
        if self._text is None:
            self._text = self._make()
            self._tag = digest_tag(self._text)
        headers = {"ETag": self._tag, "Cache-Control": "no-cache", **self._headers}
        if unchanged(request, self._tag):
            return Response(status_code=304, headers=headers)
        return Response(self._text, 200, headers, self._media)


class Pages:
    """The operations that tell about the service itself."""

    def __init__(
        self,
        service: Service,
        rules: tuple[Listed, ...],
        schema: Mapping[str, Any],
        document: Callable[[], dict[str, Any]],
    ) -> None:
        self._service = service
        tables = service.tables
        self._index = {
            known: Fixed(partial(self._links, protected=known), JSON) for known in (True, False)
        }
        self._catalogue = Fixed(partial(catalogue, tables), JSON)
        self._schema = Fixed(partial(orjson.dumps, schema), SCHEMA_JSON)
        self._rules = Fixed(partial(rules_json, rules, tables.edition), JSON)
        self._openapi = Fixed(lambda: orjson.dumps(document()), JSON)
        policy = {"Content-Security-Policy": POLICY}
        html = lambda: page(document(), CAUTION).encode()  # noqa: E731 - as the others
        self._docs = Fixed(html, HTML, policy)
        self._codes = {row.code: row for row in rules}

    async def index(self, request: Request) -> Response:
        """Return where everything is, and the caution."""
        return self._index[request.scope.get("protected", True)].answer(request)

    async def catalogue(self, request: Request) -> Response:
        """Return everything that can be recorded, as the tables have it."""
        return self._catalogue.answer(request)

    async def schema(self, request: Request) -> Response:
        """Return the JSON Schema (2020-12) of an exam."""
        return self._schema.answer(request)

    async def rules(self, request: Request) -> Response:
        """Return every code that an answer can name, with reason, source and way out."""
        return self._rules.answer(request)

    async def rule(self, request: Request, code: str) -> Response:
        """Return why a code is given and a request that passes: a page, or data when asked for."""
        only_parameters(request)
        row = self._codes.get(code)
        if row is None:
            raise NotFound
        found = worked().get(code, Worked())
        headers = {"Vary": "Accept", "Cache-Control": "no-cache"}
        if choose(header(request.scope, b"accept"), (JSON, HTML)) != HTML:
            return Response(orjson.dumps(rule_json(row, found)), 200, headers, JSON)
        headers["Content-Security-Policy"] = POLICY
        return Response(rule_page(row, found, CAUTION), 200, headers, HTML)

    async def openapi(self, request: Request) -> Response:
        """Return the OpenAPI 3.1 document."""
        return self._openapi.answer(request)

    async def docs(self, request: Request) -> Response:
        """Return the API page."""
        return self._docs.answer(request)

    async def live(self) -> Response:
        """Say that the process answers."""
        return Response(b'{"status":"live"}', media_type=JSON)

    async def ready(self) -> Response:
        """Say whether exams can be stored; 503 when they cannot."""
        if not await self._service.work.probe(self._service.store.ready):
            raise Unavailable
        return Response(b'{"status":"ready"}', media_type=JSON)

    def _links(self, *, protected: bool) -> bytes:
        base = self._service.settings.public_base
        links = {name.split(".")[0].split("/")[0]: f"{base}/{name}" for name in OPEN}
        links |= {"exams": f"{base}/exams", "fhir": f"{base}/fhir/metadata"}
        links["login"] = base + WELL_KNOWN
        body = {
            "name": "brachium",
            "version": self._service.version,
            "edition": self._service.tables.edition,
            "caution": CAUTION,
            "access": TOKENS if protected else THIS_MACHINE,
            "links": links,
        }
        return orjson.dumps(body)
