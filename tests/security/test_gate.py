"""Limits, origins, plain http, and the service before the first client is registered."""

from __future__ import annotations

import logging

import httpx
import pytest
from tests.api.serving import Serving, raw_example
from tests.security.logins import Guarded

from brachium.api.cors import EXPOSED
from brachium.api.limits import Places, Rate
from brachium.records import Client

APP = "https://app.example.org"


def ask(service, path, client=("203.0.113.7", 4000), scheme="http", **headers):
    """One request from another address."""

    async def once():
        transport = httpx.ASGITransport(app=service.app, client=client)
        base = f"{scheme}://exams.example.org"
        async with httpx.AsyncClient(transport=transport, base_url=base) as asking:
            return await asking.get(path, headers=headers)

    return service._runner.run(once())


def test_ops_03_err_08_one_request_more_than_the_limit(tmp_path):
    with Guarded(tmp_path, rate=5) as service:
        held, other = service.as_client(), service.as_client("auditor", "system/*.rs")
        for _ in range(5):
            assert service.ask("GET", "/fhir/Patient", headers=held).status_code == 200
        answer = service.ask("GET", "/fhir/Patient", headers=held)
        assert answer.status_code == 429
        assert 1 <= int(answer.headers["retry-after"]) <= 60
        assert answer.json()["issue"][0]["code"] == "throttled"
        # each client has a limit of its own, and health is no request of anybody
        assert service.ask("GET", "/fhir/Patient", headers=other).status_code == 200
        assert all(service.get("/live").status_code == 200 for _ in range(9))


def test_ops_03_guessing_is_limited_by_where_it_comes_from(tmp_path):
    with Guarded(tmp_path, rate=5) as service:
        guess = {"Authorization": "Bearer guess"}
        codes = [service.ask("GET", "/catalogue", headers=guess).status_code for _ in range(6)]
        assert codes == [401] * 5 + [429]
        answer = service.login()
        assert answer.status_code == 429


def test_ops_03_a_minute_later_the_count_begins_anew():
    now = [0.0]
    rate = Rate(2, lambda: now[0])
    assert [rate.wait("a"), rate.wait("a")] == [0, 0]
    now[0] = 20.5
    assert rate.wait("a") == 40
    assert rate.wait("b") == 0
    now[0] = 60.0
    assert [rate.wait("a"), rate.wait("a"), rate.wait("a")] == [0, 0, 60]
    now[0] = 300.0
    assert rate.wait("a") == 0


def test_err_08_more_at_a_time_than_there_is_room_for(tmp_path):
    with Guarded(tmp_path, concurrency=2) as service:
        held = {"headers": service.as_client()}
        answers = service.together([("GET", "/fhir/Observation", held)] * 6)
        codes = sorted(answer.status_code for answer in answers)
        assert codes[0] == 200
        assert codes[-1] == 429
        refused = next(a for a in answers if a.status_code == 429)
        assert refused.headers["retry-after"] == "1"
        assert refused.json()["issue"][0]["code"] == "throttled"
        # every place is given back
        assert service.ask("GET", "/fhir/Observation", **held).status_code == 200
        assert service.ask("GET", "/fhir/Patient/x", **held).status_code == 404
        answers = service.together([("GET", "/fhir/Observation", held)] * 2)
        assert [answer.status_code for answer in answers] == [200, 200]


def test_places_are_counted():
    places = Places(1)
    assert places.take()
    assert not places.take()
    places.give_back()
    assert places.take()


def preflight(service, origin, path="/exams"):
    headers = {
        "Origin": origin,
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "authorization",
    }
    return service.ask("OPTIONS", path, headers=headers)


def test_sec_15_a_page_of_a_registered_origin_may_call(tmp_path):
    with Guarded(tmp_path, origins=(APP,)) as service:
        answer = preflight(service, APP)
        assert answer.status_code == 204
        assert answer.headers["access-control-allow-origin"] == APP
        assert "POST" in answer.headers["access-control-allow-methods"]
        assert "Authorization" in answer.headers["access-control-allow-headers"]
        called = service.ask("GET", "/fhir/metadata", headers={"Origin": APP})
        assert called.headers["access-control-allow-origin"] == APP
        assert "Origin" in called.headers["vary"]
        exposed = called.headers["access-control-expose-headers"].split(", ")
        wanted = {"ETag", "Location", "Content-Location", "Retry-After", "X-Request-Id"}
        assert wanted <= set(exposed)
        refused = service.ask("GET", "/fhir/Patient", headers={"Origin": APP})
        assert refused.status_code == 401
        assert refused.headers["access-control-allow-origin"] == APP
        assert "access-control-allow-credentials" not in called.headers


@pytest.mark.parametrize("origin", ["https://evil.example.org", "null", f"{APP}.evil.example"])
def test_sec_15_a_page_of_another_origin_may_not(tmp_path, origin):
    with Guarded(tmp_path, origins=(APP,)) as service:
        assert preflight(service, origin).status_code == 401
        for answer in (
            preflight(service, origin),
            service.ask("GET", "/fhir/metadata", headers={"Origin": origin}),
        ):
            assert not [name for name in answer.headers if name.startswith("access-control")]


def test_sec_15_without_registered_origins_there_is_no_cors(guarded):
    assert preflight(guarded, APP).status_code == 401
    answer = guarded.ask("GET", "/fhir/metadata", headers={"Origin": APP})
    assert not [name for name in answer.headers if name.startswith("access-control")]
    assert EXPOSED


@pytest.mark.parametrize("path", ["/fhir/metadata", "/", "/fhir/Patient", "/auth/token"])
def test_sec_01_plain_http_from_elsewhere_is_refused(guarded, path):
    answer = ask(guarded, path)
    assert answer.status_code == 426
    assert "TLS" in answer.headers["upgrade"]
    body = answer.json()
    assert "tls-needed" in str(body)
    assert ask(guarded, path, scheme="https").status_code != 426
    assert ask(guarded, path, client=("::1", 1)).status_code != 426


def test_sec_01_browsers_are_told_to_keep_to_tls(guarded):
    answer = guarded.get("/fhir/Patient")
    assert answer.headers["strict-transport-security"] == "max-age=31536000"


def test_without_clients_only_this_machine_is_answered(tmp_path):
    with Serving(tmp_path / "open.sqlite3") as service:
        assert service.get("/fhir/Patient").status_code == 200
        assert service.get("/").json()["access"].startswith("No client is registered")
        for path in ("/", "/fhir/metadata", "/fhir/Patient", "/catalogue"):
            answer = ask(service, path, scheme="https")
            assert answer.status_code == 403
            assert "this-machine-only" in answer.text
        # health can be asked from anywhere
        assert ask(service, "/live", scheme="https").status_code == 200


def test_without_clients_a_page_under_another_name_is_refused(tmp_path):
    with Serving(tmp_path / "open.sqlite3") as service:
        for host, status in (
            ("localhost:8321", 200),
            ("127.0.0.1", 200),
            ("[::1]:8321", 200),
            ("exams.example.org", 200),
            ("rebound.example.net", 403),
            ("127.0.0.1.example.net", 403),
        ):
            answer = service.ask("GET", "/fhir/Patient", headers={"Host": host})
            assert answer.status_code == status, host


def test_the_first_client_closes_the_service_at_once_and_for_good(tmp_path):
    with Serving(tmp_path / "open.sqlite3") as service:
        assert service.get("/fhir/Patient").status_code == 200
        assert service.parts.clients.add(Client("a", "a", "engineer", "system/*.rs"))
        assert service.get("/fhir/Patient").status_code == 401
        assert service.get("/").json()["access"].startswith("Every request needs")
        assert service.parts.clients.revoke("a", "2026-03-02T09:00:00.000Z")
        assert service.get("/fhir/Patient").status_code == 401


def test_sec_16_err_05_identifiers_and_tokens_stay_out_of_the_log(guarded, caplog):
    held = guarded.as_client()
    token = held["Authorization"].removeprefix("Bearer ")
    with caplog.at_level(logging.DEBUG):
        posted = guarded.ask(
            "POST",
            "/exams",
            content=raw_example("stiff-shoulder"),
            headers={**held, "Content-Type": "application/json"},
        )
        system = "https://saltmarsh.example.org/fid/patient"
        for headers in (held, {}, {"Authorization": "Bearer Zebulon"}):
            found = guarded.ask("GET", f"/fhir/Patient?identifier={system}|P-0101", headers=headers)
            guarded.ask("GET", f"/fhir/Patient/{posted.json()['id']}", headers=headers)
            guarded.ask("GET", "/Zebulon/P-0101", headers=headers)
    lines = [r.getMessage() for r in caplog.records if r.name.startswith("brachium")]
    assert any("GET /fhir/{resource_type} 401" in line for line in lines)
    for word in ("P-0101", "saltmarsh", "Zebulon", token, posted.json()["id"]):
        assert not any(word in line for line in lines), word
    assert found.status_code == 401


def test_the_limits_are_shared_by_requests_at_the_same_time(tmp_path):
    with Guarded(tmp_path, rate=10) as service:
        held = {"headers": service.as_client()}
        answers = service.together([("GET", "/catalogue", held)] * 15)
        codes = [answer.status_code for answer in answers]
        assert codes.count(200) == 10
        assert codes.count(429) == 5
