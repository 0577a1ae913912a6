"""A finished file on its way to a client: whole, in part, or compressed (RFC 9110 8.4, 13, 14)."""

from __future__ import annotations

import re
import zlib
from collections.abc import AsyncIterator
from functools import partial
from pathlib import Path
from typing import IO, TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from brachium.api.answers import header
from brachium.api.bulk_faults import NoSuchRange
from brachium.api.compressed import takes_gzip
from brachium.api.faults import NotFound
from brachium.api.requests import unchanged

if TYPE_CHECKING:
    from brachium.api.work import Work
    from brachium.store.jobs import OutputFile

NDJSON = "application/fhir+ndjson"
_BLOCK = 1 << 18
# NDJSON of FHIR shrinks to a tenth even at the fastest level
_LEVEL = 1
# a header of gzip, which zlib writes without a time: the same file gives the same bytes
_GZIP = 31
_RANGE = re.compile(r"bytes=(\d*)-(\d*)")


async def file_response(request: Request, work: Work, file: OutputFile, path: Path) -> Response:
    """Return a file; it is opened before the answer begins, so that it can be read to its end."""
    asked = _asked_range(request, file)
    gzips = takes_gzip(request.scope) and asked is None
    tag = _tag(file, gzips=gzips)
    headers = {"ETag": tag, "Accept-Ranges": "bytes", "Vary": "Accept-Encoding"}
    if unchanged(request, tag):
        return Response(status_code=304, headers=headers)
    try:
        source = await work.run(lambda: path.open("rb"))
    except FileNotFoundError:
        raise NotFound from None
    if gzips:
        headers["Content-Encoding"] = "gzip"
        return StreamingResponse(_compressed(work, source), 200, headers, NDJSON)
    start, end = asked or (0, file.size)
    headers["Content-Length"] = str(end - start)
    if asked is not None:
        headers["Content-Range"] = f"bytes {start}-{end - 1}/{file.size}"
    status = 200 if asked is None else 206
    return StreamingResponse(_part(work, source, start, end), status, headers, NDJSON)


def _tag(file: OutputFile, *, gzips: bool) -> str:
    return f'"{file.digest[:32]}-gzip"' if gzips else f'"{file.digest[:32]}"'


def _asked_range(request: Request, file: OutputFile) -> tuple[int, int] | None:
    """Return the bytes asked for; ``None`` for all of them (RFC 9110 14.2).

    Several ranges, another unit, or If-Range with another file get the whole file.
    """
    asked = _RANGE.fullmatch((header(request.scope, b"range") or "").replace(" ", ""))
    if asked is None or asked.group(1, 2) == ("", ""):
        return None
    condition = header(request.scope, b"if-range")
    if condition is not None and condition.strip() != _tag(file, gzips=False):
        return None
    first, last = asked.group(1, 2)
    if not first:
        start, end = max(0, file.size - int(last)), file.size
    else:
        start, end = int(first), min(file.size, int(last) + 1 if last else file.size)
    if last and first and int(last) < int(first):
        return None
    if start >= file.size or start >= end:
        raise NoSuchRange(file.size)
    return start, end


async def _part(work: Work, source: IO[bytes], start: int, end: int) -> AsyncIterator[bytes]:
    with source:
        source.seek(start)
        while start < end:
            block = await work.run(partial(source.read, min(_BLOCK, end - start)))
            if not block:
                raise OSError("the file is shorter than it was")
            start += len(block)
            yield block


async def _compressed(work: Work, source: IO[bytes]) -> AsyncIterator[bytes]:
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, _GZIP)
    with source:
        while block := await work.run(partial(source.read, _BLOCK)):
            packed = await work.run(partial(packer.compress, block))
            if packed:
                yield packed
        yield packer.flush()
