"""Twenty thousand Observations page by page over HTTP while others write."""

from __future__ import annotations

import pytest
from tests.api.serving import Serving, inside
from tests.api.walking import Writer, name, pages
from tests.store import many
from tests.store.exams import opened

FILLED, PAGE = 20_000, 500


@pytest.fixture
def service(tmp_path):
    database = tmp_path / "many.sqlite3"
    store = opened(database)
    many.fill(store, FILLED)
    store.close()
    with Serving(database) as serving:
        yield serving


def test_src_13_a_walk_over_http_has_everything_once_beside_writers(service):
    def get(address):
        return service.get(address if address.startswith("/") else inside(address)).json()

    def send(method, path, body, version):
        headers = {"If-Match": f'W/"{version}"'} if version else {}
        answer = service.ask(method, path, json=body, headers=headers)
        assert answer.is_success, answer.text
        return answer.json()["id"]

    writer = Writer(send)
    for _ in range(30):
        writer.post()
    total = get("/fhir/Observation?_summary=count")["total"]
    assert total > FILLED + 500
    seen = []
    for entries in pages(get, f"/fhir/Observation?_count={PAGE}"):
        assert len(entries) <= PAGE
        seen += [name(entry) for entry in entries]
        writer.disturb()
    assert len(seen) == len({address for address, _ in seen}) == total
    # as they were when the walk began
    assert {version for _, version in seen} == {"1"}
    assert get("/fhir/Observation?_summary=count")["total"] > total
