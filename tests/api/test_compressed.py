"""gzip on answers (matrix NEG-09), and what it must leave alone."""

from __future__ import annotations

import asyncio
import gzip

import pytest

from brachium.api.compressed import Compressed, takes_gzip
from brachium.formats.digest import content_digest

TEXT = b'{"resourceType":"Patient"}' * 200


def scope(encoding: str | None):
    headers = [(b"accept-encoding", encoding.encode())] if encoding is not None else []
    return {"type": "http", "headers": headers}


@pytest.mark.parametrize(
    ("encoding", "taken"),
    [
        ("gzip", True),
        ("br, gzip;q=0.5", True),
        ("gzip;q=0", False),
        ("gzip; q=0.0, *", False),
        ("*", True),
        ("*;q=0", False),
        ("identity", False),
        ("gzip;q=x", False),
        ("x-gzip", False),
        ("", False),
        (None, False),
    ],
)
def test_neg_09_gzip_is_for_those_who_ask(encoding, taken):
    assert takes_gzip(scope(encoding)) is taken


def sent(messages, encoding="gzip"):
    """What leaves for what an application sends."""
    found = []

    async def app(_scope, _receive, send):
        for message in messages:
            await send(message)

    async def send(message):
        found.append(message)

    asyncio.run(Compressed(app)(scope(encoding), None, send))
    return dict(found[0]["headers"]), b"".join(one.get("body", b"") for one in found[1:])


def answer(body, *headers, more=False):
    length = (b"content-length", str(len(body)).encode())
    return [
        {"type": "http.response.start", "status": 200, "headers": [length, *headers]},
        {"type": "http.response.body", "body": body, "more_body": more},
    ]


def test_neg_09_a_long_answer_is_compressed_and_says_so():
    headers, body = sent(answer(TEXT, (b"etag", b'"x"')))
    assert gzip.decompress(body) == TEXT
    assert headers[b"content-encoding"] == b"gzip"
    assert headers[b"content-length"] == str(len(body)).encode()
    assert headers[b"etag"] == b'W/"x"'
    assert headers[b"vary"] == b"Accept, Accept-Encoding"


@pytest.mark.parametrize(
    "messages",
    [
        answer(b"{}"),
        answer(TEXT, (b"content-digest", content_digest(TEXT).encode())),
        answer(TEXT, (b"content-encoding", b"br")),
        [*answer(TEXT, more=True), {"type": "http.response.body", "body": b"end"}],
    ],
    ids=["short", "digest", "encoded", "stream"],
)
def test_neg_09_what_is_short_pinned_or_streamed_keeps_its_bytes(messages):
    headers, body = sent(messages)
    assert body == b"".join(one.get("body", b"") for one in messages)
    assert headers.get(b"content-encoding") in (None, b"br")
    assert headers[b"vary"] == b"Accept, Accept-Encoding"


def test_a_vary_of_the_answer_stays():
    assert sent(answer(b"{}", (b"vary", b"Accept")), None)[0][b"vary"] == b"Accept"
