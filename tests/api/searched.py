"""Searching a service: bundles taken apart, links followed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tests.api.serving import BASE, Serving, inside

Json = dict[str, Any]
LONGEST = 2000
MOST_PAGES = 200


def searched(service: Serving, query: str, **headers: str) -> Json:
    """The bundle of a search that must succeed."""
    answer = service.get(f"/fhir/{query}", **headers)
    assert answer.status_code == 200, answer.text
    return answer.json()


def posted(service: Serving, kind: str, form: str, query: str = "") -> Json:
    """The bundle of a search sent as a form."""
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    path = f"/fhir/{kind}/_search{query}"
    answer = service.ask("POST", path, content=form.encode(), headers=headers)
    assert answer.status_code == 200, answer.text
    return answer.json()


def matches(bundle: Json, mode: str = "match") -> list[Json]:
    """The resources of a mode, in their order."""
    return [e["resource"] for e in bundle.get("entry", ()) if e["search"]["mode"] == mode]


def ids(bundle: Json, mode: str = "match") -> list[str]:
    return [one["id"] for one in matches(bundle, mode)]


def links(bundle: Json) -> dict[str, str]:
    """The links by relation, each of which a client must be able to follow."""
    found = {one["relation"]: one["url"] for one in bundle["link"]}
    for url in found.values():
        assert url.startswith(f"{BASE}/fhir/")
        assert len(url) < LONGEST
    return found


def walked(service: Serving, page: Json, relation: str = "next") -> Iterator[Json]:
    """A page and all that follow it."""
    yield page
    for _ in range(MOST_PAGES):
        if relation not in links(page):
            return
        page = service.get(inside(links(page)[relation])).json()
        yield page
    raise AssertionError("the walk has no end")


def issues(answer: Any) -> list[Json]:
    """The issues of a refusal under /fhir."""
    body = answer.json()
    assert body["resourceType"] == "OperationOutcome"
    return body["issue"]
