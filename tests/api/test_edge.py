"""The outermost layer around a small application: ids, headers, limits, HEAD, log, last resort."""

from __future__ import annotations

import asyncio
import json
import logging

import httpx
import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from brachium.api.answers import Answers
from brachium.api.edge import Edge
from brachium.api.faults import Fault

LIMIT = 1000
BASE = "https://exams.example.org"
NAMED = "Jane Doe 1969-04-11"


async def _length(request: Request) -> Response:
    return JSONResponse({"length": len(await request.body())})


async def _fails(_request: Request) -> Response:
    raise RuntimeError(NAMED)


async def _kept(_request: Request) -> Response:
    return Response(b"kept", headers={"Cache-Control": "no-cache"})


def edge() -> Edge:
    answers = Answers(BASE, "https://codes.example.org/fhir")

    async def handle(request: Request, error: Exception) -> Response:
        return answers.error(request.scope, error)

    routes = [
        Route("/exams/{exam_id}", _length, methods=["GET", "POST"]),
        Route("/fails", _fails),
        Route("/fhir/fails", _fails),
        Route("/kept", _kept),
    ]
    return Edge(
        Starlette(routes=routes, exception_handlers={Fault: handle, Exception: handle}),
        answers,
        LIMIT,
    )


def ask(method: str, path: str, **options) -> httpx.Response:
    async def once() -> httpx.Response:
        transport = httpx.ASGITransport(app=edge(), raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url=BASE) as client:
            return await client.request(method, path, **options)

    return asyncio.run(once())


def test_err_06_a_sane_request_id_is_echoed():
    assert ask("GET", "/kept", headers={"X-Request-Id": "t-1"}).headers["x-request-id"] == "t-1"


def test_err_06_an_id_is_assigned():
    first, second = (ask("GET", "/kept").headers["x-request-id"] for _ in range(2))
    assert first != second
    assert len(first) == 32


def test_err_06_an_odd_id_comes_back_as_correlation_id():
    answer = ask("GET", "/kept", headers={"X-Request-Id": "odd/id:1"})
    assert answer.headers["x-request-id"] != "odd/id:1"
    assert answer.headers["x-correlation-id"] == "odd/id:1"


@pytest.mark.parametrize("value", ["with space", "x" * 201])
def test_err_06_an_unfit_id_is_only_replaced(value):
    answer = ask("GET", "/kept", headers={"X-Request-Id": value})
    assert "x-correlation-id" not in answer.headers
    assert len(answer.headers["x-request-id"]) == 32


def test_security_headers_are_on_every_answer():
    for path in ("/kept", "/exams/1", "/fails", "/nowhere"):
        headers = ask("GET", path).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"
        assert headers["referrer-policy"] == "no-referrer"
        assert "default-src 'none'" in headers["content-security-policy"]


def test_answers_are_not_kept_unless_their_route_says_so():
    assert ask("GET", "/exams/1").headers["cache-control"] == "no-store"
    assert ask("GET", "/kept").headers["cache-control"] == "no-cache"


def test_exm_16_declared_length_over_the_limit():
    answer = ask("POST", "/exams/1", content=b"x" * (LIMIT + 1))
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"
    (problem,) = answer.json()["problems"]
    assert problem["code"] == "body-too-large"
    assert f"{LIMIT} bytes" in problem["message"]


def test_exm_16_streamed_body_over_the_limit():
    async def pieces():
        for _ in range(11):
            yield b"x" * 100

    answer = ask("POST", "/exams/1", content=pieces(), headers={"Accept": "application/fhir+json"})
    assert "content-length" not in answer.request.headers
    assert answer.status_code == 413
    assert answer.json()["resourceType"] == "OperationOutcome"
    (issue,) = answer.json()["issue"]
    assert issue["code"] == "too-long"
    assert f"{LIMIT} bytes" in issue["details"]["text"]


def test_exm_16_a_body_at_the_limit_is_taken():
    assert ask("POST", "/exams/1", content=b"x" * LIMIT).json() == {"length": LIMIT}


def test_neg_11_head_is_get_without_the_body():
    got, head = ask("GET", "/exams/1"), ask("HEAD", "/exams/1")
    assert head.status_code == 200
    assert head.content == b""
    assert head.headers["content-length"] == str(len(got.content))


@pytest.mark.parametrize(("path", "member"), [("/fails", "problems"), ("/fhir/fails", "issue")])
def test_err_01_err_05_a_failure_tells_nothing_of_its_text(path, member, caplog):
    with caplog.at_level(logging.INFO):
        answer = ask("GET", path, headers={"X-Request-Id": "t-9"})
    assert answer.status_code == 500
    assert member in answer.json()
    for told in (answer.text, caplog.text):
        assert NAMED not in told
        assert "Traceback" not in told
    assert "t-9 RuntimeError at" in caplog.text
    assert "test_edge.py" in caplog.text


def test_err_05_the_log_has_the_route_and_neither_path_nor_query(caplog):
    with caplog.at_level(logging.INFO, logger="brachium.access"):
        ask("GET", "/exams/4711", params={"name": NAMED}, headers={"X-Request-Id": "t-2"})
    (line,) = [r.getMessage() for r in caplog.records if r.name == "brachium.access"]
    assert line.startswith("GET /exams/{exam_id} 200 ")
    assert line.endswith("ms t-2")
    assert "4711" not in line
    assert "Jane" not in line


def test_problem_details_name_the_request():
    body = json.loads(ask("GET", "/fails", headers={"X-Request-Id": "t-3"}).content)
    assert body["requestId"] == "t-3"
    assert body["status"] == 500
    assert body["type"] == f"{BASE}/rules/unforeseen"


def test_err_01_even_an_application_that_breaks_is_answered():
    async def broken(_scope, _receive, _send):
        raise RuntimeError(NAMED)

    async def once() -> httpx.Response:
        app = Edge(broken, Answers(BASE, BASE), LIMIT)
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url=BASE) as client:
            return await client.get("/x")

    answer = asyncio.run(once())
    assert answer.status_code == 500
    assert answer.json()["problems"][0]["code"] == "unforeseen"
