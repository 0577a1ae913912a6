"""How far an export is, in the words of Bulk Data Access 2.0 (status request)."""

from __future__ import annotations

import hashlib
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from email.utils import format_datetime
from typing import TYPE_CHECKING

import orjson
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.media import JSON
from brachium.api.requests import unchanged
from brachium.bulk.steps import Place
from brachium.bulk.wanted import Wanted

if TYPE_CHECKING:
    from brachium.store.jobs import Job, OutputFile


class Polls:
    """Counts how often each export is asked about; ``most`` times within ``seconds`` are fine."""

    def __init__(
        self, most: int = 4, seconds: float = 1.0, timer: Callable[[], float] = time.monotonic
    ) -> None:
        self._most, self._seconds, self._timer = most, seconds, timer
        self._counts: OrderedDict[str, tuple[float, int]] = OrderedDict()

    def too_fast(self, job: str) -> bool:
        """Count one question, and tell whether it is one too many."""
        now = self._timer()
        begun, count = self._counts.pop(job, (now, 0))
        if now - begun >= self._seconds:
            begun, count = now, 0
        self._counts[job] = (begun, count + 1)
        while next(iter(self._counts.values()))[0] <= now - self._seconds:
            self._counts.popitem(last=False)
        return count >= self._most


def in_progress(job: Job, now: str) -> Response:
    """Return the answer while a job runs: what it has written, and when to ask again."""
    passed = (_moment(now) - _moment(job.begun)).total_seconds()
    headers = {"X-Progress": _progress(job), "Retry-After": str(max(1, min(30, int(passed / 10))))}
    return Response(status_code=202, headers=headers)


def _progress(job: Job) -> str:
    types = Wanted.read(job.wanted).types
    now = min(Place.read(job.place).type + 1, len(types))
    return f"{job.written} resources written, type {now} of {len(types)}"


def complete(
    request: Request, job: Job, files: Iterable[OutputFile], address: str, *, guarded: bool
) -> Response:
    """Return the manifest; ``address`` is that of the job, ``guarded`` whether files need a token.

    There is no ``deleted``: nothing is ever deleted, what was withdrawn is in the output.
    """
    listed: dict[str, list[dict[str, object]]] = {"output": [], "error": []}
    for one in files:
        item = {"type": one.type, "url": f"{address}/{one.name}", "count": one.lines}
        listed[one.kind].append(item)
    body = orjson.dumps(
        {
            "transactionTime": job.moment,
            "request": job.request,
            "requiresAccessToken": guarded,
            **listed,
        }
    )
    tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Expires": format_datetime(_moment(job.expires), usegmt=True)}
    if unchanged(request, tag):
        return Response(status_code=304, headers=headers)
    return Response(body, 200, headers, JSON)


def _moment(instant: str) -> datetime:
    return datetime.fromisoformat(instant).astimezone(UTC)
