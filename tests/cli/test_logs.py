"""The log of a running service has fields to search by, and nothing about a patient."""

from __future__ import annotations

import json
import logging
import os
import re
import socket
import subprocess
import sys
import time

import httpx
import pytest
from tests.api.serving import example

from brachium.cli.logs import JsonLines, TextLines

NAME, IDENTIFIER, NOTE = "Quillfeather", "QF-77-1234", "Zanzibar-note-81"
PLANTED = (NAME, IDENTIFIER, NOTE, "1931-07-19", "VISIT-5566", "EXAMINER-9", "2026-03-17")


def planted_exam():
    exam = example("stiff-shoulder")
    exam["identifier"]["value"] = IDENTIFIER
    exam["patient"]["identifier"]["value"] = IDENTIFIER
    exam["patient"]["birthDate"] = "1931-07-19"
    exam["effective"] = "2026-03-17T10:15:00+01:00"
    exam["encounter"]["identifier"]["value"] = "VISIT-5566"
    exam["examiner"]["identifier"]["value"] = "EXAMINER-9"
    exam["note"] = exam["findings"][0]["note"] = f"{NOTE} of {NAME}"
    return exam


@pytest.fixture(params=["json", "text"])
def running(request, tmp_path):
    """The base address of a service, and a function that stops it and returns its log."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    log = (tmp_path / "log").open("w+")
    command = [sys.executable, "-m", "brachium", "serve", "--port", str(port)]
    environment = {**os.environ, "BRACHIUM_LOG": request.param}
    process = subprocess.Popen(
        [*command, "--database", tmp_path / "db.sqlite3"],
        env=environment,
        stdout=log,
        stderr=subprocess.STDOUT,
    )

    def stop():
        process.terminate()
        process.wait(30)
        log.seek(0)
        return log.read()

    base = f"http://127.0.0.1:{port}"
    try:
        wait(base)
        yield base, stop, request.param
    finally:
        process.kill()
        process.wait()
        log.close()


def wait(base):
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            if httpx.get(f"{base}/live").status_code == 200:
                return
        except httpx.TransportError:
            time.sleep(0.1)
    pytest.fail("the service did not start")


def disturb(base):
    """Everything that could put patient data into a log; return the statuses."""
    exam = planted_exam()
    other = {**exam, "findings": exam["findings"][:2]}
    broken = {**exam, NAME: NOTE, "status": IDENTIFIER}
    json_type = {"Content-Type": "application/json"}
    with httpx.Client(base_url=base) as client:
        stored = client.post("/exams", json=exam)
        answers = [
            stored,
            client.post("/exams", json=exam),
            client.post("/exams", json=other),
            client.post("/exams", json=broken),
            client.post("/exams", content=f'{{"{NAME}": '.encode(), headers=json_type),
            client.post("/fhir", json={"resourceType": NAME, "id": IDENTIFIER}),
            client.get(f"/exams/{IDENTIFIER}"),
            client.get(f"/{NAME}/{IDENTIFIER}"),
            client.get("/fhir/Patient", params={"identifier": IDENTIFIER, NAME: NOTE}),
            client.get("/fhir/Observation", params={"date": NAME}),
            client.get("/views/findings", params={"from": NAME}),
            client.get("/exams.csv"),
            client.get("/", headers={"Authorization": f"Bearer {IDENTIFIER}", "X-Name": NAME}),
            client.get("/live", headers={"X-Request-Id": f"{NAME} {IDENTIFIER}"}),
            client.request(NAME.upper(), "/exams"),
            client.post(
                stored.json()["links"]["self"].split("?")[0] + "/withdrawal",
                json={"reason": f"{NOTE} {NAME}"},
                headers={"If-Match": 'W/"1"'},
            ),
        ]
    with socket.create_connection(tuple(base.removeprefix("http://").split(":"))) as raw:
        raw.sendall(f"GET /{NAME} NOT-HTTP\r\n{IDENTIFIER}\r\n\r\n".encode())
        raw.settimeout(5)
        raw.recv(1000)
    return [answer.status_code for answer in answers]


def test_nothing_planted_is_in_the_log(running):
    base, stop, form = running
    statuses = disturb(base)
    assert statuses[:4] == [201, 200, 409, 422]
    assert min(statuses[-1:]) == 200
    log = stop()
    lines = log.splitlines()
    for word in PLANTED:
        assert word.lower() not in log.lower(), [x for x in lines if word.lower() in x.lower()]
    access = [line for line in lines if "brachium.access" in line]
    assert len(access) >= len(statuses)
    if form == "json":
        told = [json.loads(line) for line in access]
        assert {"method", "route", "status", "ms", "request", "at", "level"} <= set(told[0])
        assert ("/exams", 201) in {(one["route"], one["status"]) for one in told}
        assert [json.loads(line) for line in lines if line.startswith("{")]
    else:
        assert any(re.search(r"INFO brachium.access POST /exams 201 ", line) for line in access)


def test_ops_04_every_answer_has_a_date(running):
    base, _, _ = running
    for path in ("/live", "/nowhere", "/metrics"):
        assert httpx.get(base + path).headers["date"].endswith("GMT")


def record(name, words, *arguments, error=None):
    info = (type(error), error, error.__traceback__) if error else None
    return logging.LogRecord(name, logging.ERROR, __file__, 1, words, arguments, info)


@pytest.mark.parametrize("form", [JsonLines(), TextLines()])
def test_exceptions_and_libraries_are_not_quoted(form):
    with pytest.raises(ValueError, match=NAME) as caught:
        int(f"{NAME} {NOTE}")
    line = form.format(record("uvicorn.error", "Exception in ASGI", error=caught.value))
    assert "ValueError" in line
    assert "test_logs.py" in line
    foreign = form.format(record("asyncio", "Task exception: %s", f"{NAME} {NOTE}"))
    assert "asyncio" in foreign
    ours = form.format(record("brachium.access", "GET %s", "/exams"))
    assert "GET /exams" in ours
    assert not [word for word in PLANTED if word in line + foreign + ours]
    assert "\n" not in line + foreign
