"""The trail: no answer leaves before the audit tells of it (matrix AUD-01 to AUD-05, AUD-11).

Plain ASGI between the edge and the gate. What the store has written down itself, in the transaction
of what it stored, is not written down again. Whom an answer is about is read in the answer.
"""

from __future__ import annotations

import logging
import re
from functools import partial
from typing import TYPE_CHECKING

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from brachium.api.about import About, about_answer, about_exam, about_request, exam_in
from brachium.api.answers import Answers, header
from brachium.api.faults import Unavailable
from brachium.api.occasion import begin, complete
from brachium.api.permits import ACCESS
from brachium.records import AuditEntry
from brachium.store.port import StoreUnavailable

if TYPE_CHECKING:
    from brachium.api.service import Service

_DIGEST = re.compile(r"sha-256=:([A-Za-z0-9+/=]{1,88}):")
# a form longer than this is refused by whoever reads it
_LONGEST_FORM = 65_536
_SERVER_ERROR, _ERROR = 500, 400
# answers that tell nothing and come in floods; they are logged and counted instead
_UNTOLD = frozenset({413, 429})
CHECKPOINT_EVERY = 1000
FAILURES = logging.getLogger("brachium.failures")


class Trail:
    """ASGI application around ``app``."""

    def __init__(self, app: ASGIApp, service: Service, answers: Answers) -> None:
        self.inner = app
        self._service = service
        self._answers = answers
        self._kept = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or pass on what needs no trail."""
        if scope["type"] != "http" or not _is_told(scope):
            await self.inner(scope, receive, send)
            return
        begin(scope)
        telling = _Telling(self, scope, send)
        try:
            await self.inner(scope, telling.listening(receive), telling)
        except Exception:
            await telling.broken()
            raise
        if telling.failed:
            await self._answers.error(scope, Unavailable())(scope, receive, send)

    async def about(self, path: str, body: bytes) -> About:
        """Return whom an answer is about."""
        exam = exam_in(path)
        if not exam:
            return about_answer(body)
        return await self._service.work.run(partial(about_exam, self._service.store, exam))

    async def record(self, entry: AuditEntry) -> bool:
        """Write an entry down; false when that is impossible."""
        try:
            number = await self._service.work.write(partial(self._service.store.record, entry))
        except StoreUnavailable:
            return False
        await self.keep_up(number)
        return True

    async def keep_up(self, number: int) -> None:
        """Sign the end of the trail now and then; ``number`` is that of an entry just written."""
        if number < self._kept + CHECKPOINT_EVERY:
            return
        # set at once: others come by while this one is written
        self._kept = number
        try:
            await self._service.work.write(self._service.parts.heads.checkpoint)
        except StoreUnavailable:
            # what was asked for is told already, and the next one makes good for this
            FAILURES.error("the end of the audit trail could not be signed")

    def now(self) -> str:
        """The present as a FHIR instant."""
        return self._service.parts.clock()


class _Telling:
    """The way out of one request: holds the beginning of the answer until it is written down."""

    def __init__(self, trail: Trail, scope: Scope, send: Send) -> None:
        self._trail = trail
        self._scope = scope
        self._send = send
        self._start: Message | None = None
        self._form = b""
        self._began = False
        self.failed = False

    def listening(self, receive: Receive) -> Receive:
        """Return ``receive`` that remembers the form of a search."""
        media = header(self._scope, b"content-type") or ""
        if not self._scope["path"].endswith("/_search") or "form" not in media:
            return receive

        async def read() -> Message:
            message = await receive()
            self._form = (self._form + message.get("body", b""))[:_LONGEST_FORM]
            return message

        return read

    async def broken(self) -> None:
        """Write down that the service failed before it began to answer."""
        if not self._began:
            complete(self._scope)
            start = {"status": _SERVER_ERROR, "headers": ()}
            occasion = self._scope["occasion"]
            await self._trail.record(self._entry(start, about_request(occasion)))

    async def __call__(self, message: Message) -> None:
        """Pass one ASGI message on, once the audit tells of the answer."""
        if self.failed:
            return
        if message["type"] == "http.response.start":
            self._start = message
            return
        if self._start is not None:
            start, self._start = self._start, None
            self._began = True
            # what comes in pieces is told as a whole: its beginning names some of its patients only
            pieces = message.get("more_body", False)
            if not await self._told(start, b"" if pieces else message.get("body", b"")):
                self.failed = True
                return
            await self._send(start)
        await self._send(message)

    async def _told(self, start: Message, body: bytes) -> bool:
        status = start["status"]
        occasion = complete(self._scope)
        is_batch = occasion.interaction == "transaction" and b'"type":"batch-response"' in body
        if occasion.noted:
            await self._trail.keep_up(occasion.noted)
        if status in _UNTOLD or (occasion.noted and not is_batch):
            return True
        if is_batch:
            occasion.interaction = "batch"
        if self._form:
            occasion.form = self._form.decode("latin-1")
        asked = about_request(occasion)
        # what was refused shows nobody, and tells whose record somebody tried to see
        told = About() if status >= _ERROR else await self._trail.about(occasion.path, body)
        return await self._trail.record(self._entry(start, told.with_asked(asked)))

    def _entry(self, start: Message, about: About) -> AuditEntry:
        occasion, status = self._scope["occasion"], start["status"]
        headers = {name.lower(): value.decode("latin-1") for name, value in start["headers"]}
        outcome = "failed" if status >= _SERVER_ERROR else "refused" if status >= _ERROR else "done"
        digest = _DIGEST.search(headers.get(b"content-digest", ""))
        return AuditEntry.of(
            occasion,
            self._trail.now(),
            occasion.interaction,
            outcome,
            status=status,
            patients=about.patients,
            data=about.data,
            digest=self._scope.get("digest", "") or (digest[1] if digest else ""),
            reason=str(self._scope.get("refusal", "")),
        )


def _is_told(scope: Scope) -> bool:
    """Tell whether a request is of interest: what holds no record of anybody is not."""
    method, path = str(scope["method"]), str(scope["path"])
    row, _ = ACCESS.find(method, path)
    if row is not None:
        return row.need.told
    # what is no address of ours tells nothing, except that somebody tries FHIR out
    return method != "OPTIONS" and path.startswith("/fhir/")
