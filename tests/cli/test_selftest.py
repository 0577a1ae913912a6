"""The acceptance run holds against the service, and notices a service that misbehaves."""

from __future__ import annotations

import httpx
import pytest
from tests.api.serving import Serving
from tests.cli.test_offline import brachium
from tests.cli.test_serve import Running

from brachium.cli.selftest_steps import STEPS, Run


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    service = Running(tmp_path_factory.mktemp("selftest"))
    yield service
    service.stop()


def test_a_sound_service_holds_twice(running):
    for _ in range(2):
        done = brachium("selftest", running.base)
        assert done.returncode == 0, done.stdout
        assert b"FAILED" not in done.stdout
        assert done.stdout.count(b"held  ") > 20


def test_nobody_there_is_said_and_not_a_failure_of_the_service():
    done = brachium("selftest", "http://127.0.0.1:9")
    assert done.returncode == 2
    assert b"ConnectError" in done.stderr


FAULTS = {
    "a repeat stores again": ("POST", "/exams", lambda answer: _status(answer, 200, 201)),
    "a conflict is taken": ("POST", "/exams", lambda answer: _status(answer, 409, 200)),
    "a stale change is taken": ("PUT", "/exams/", lambda answer: _status(answer, 412, 200)),
    "history is rewritten": ("GET", "/_history/1", lambda answer: answer.content + b" "),
    "a page is lost": ("GET", "/fhir/Observation", lambda _: b'{"link":[],"entry":[]}'),
    "the status is hidden": (
        "GET",
        "/fhir/Observation",
        lambda answer: answer.content.replace(b'"entered-in-error"', b'"final"'),
    ),
    "no answer can be read": ("GET", "/bundle", lambda _: b"<html>"),
}


def _status(answer, seen: int, told: int):
    if answer.status_code == seen:
        answer.status_code = told
    return answer.content


class Twisted(httpx.BaseTransport):
    """The application, with one kind of answer changed on its way out."""

    def __init__(self, service: Serving, fault) -> None:
        self.service = service
        self.method, self.path, self.change = fault

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        answer = self.service.ask(
            request.method,
            request.url.raw_path.decode(),
            headers=request.headers,
            content=request.read(),
        )
        content = answer.content
        if request.method == self.method and self.path in str(request.url):
            content = self.change(answer)
        # the content is no longer what these say of it
        stale = ("content-length", "content-encoding")
        headers = {k: v for k, v in answer.headers.items() if k not in stale}
        return httpx.Response(answer.status_code, headers=headers, content=content)


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_each_fault_of_a_service_is_noticed(tmp_path, fault):
    from brachium.cli.selftest import _carried_out, _exam

    with Serving(tmp_path / "exams.sqlite3") as service:
        transport = Twisted(service, fault)
        with httpx.Client(base_url="http://127.0.0.1:8321", transport=transport) as client:
            run = Run(client, _exam(client))
            seen = [one for step in STEPS for one in _carried_out(step.__name__, step(run))]
    assert any(not one.held for one in seen)
