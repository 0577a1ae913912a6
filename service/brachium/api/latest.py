"""The latest findings for each code (FHIR R4 OperationDefinition Observation-lastn)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import orjson

from brachium.api import fhir_bundles as bundles
from brachium.api.answers import outcome
from brachium.api.search_query import MOST, Query
from brachium.store.criteria import Order

if TYPE_CHECKING:
    from brachium.api.searching import Searching
    from brachium.records import StoredResource

PATH = "Observation/$lastn"


def latest(searching: Searching, query: Query, most: int) -> bytes:
    """Return a searchset with the matches of the ``most`` latest times for each code and place.

    The place on the body counts, because most codes say nothing of the side: the other side's
    finding is not an older one of this side. What was found at one time stays together: to choose
    among two arcs of one exam would hide the other.
    """
    query.order = [Order("date", descending=True)]
    times: dict[str, set[str]] = {}
    kept = []
    for row in _newest_first(searching, query):
        resource = orjson.loads(row.text)
        seen = times.setdefault(_group(resource), set())
        when = resource["effectiveDateTime"]
        if when in seen or len(seen) < most:
            seen.add(when)
            kept.append(row)
    entries = [bundles.found(searching.base, row, "match") for row in kept]
    if query.warnings:
        entries.append(bundles.told(outcome(query.warnings, searching.canonical)))
    links = {"self": searching.links.own(PATH, [("max", str(most)), *query.honoured], None)}
    return bundles.bundle("searchset", len(kept), links, entries)


def _newest_first(searching: Searching, query: Query) -> Iterator[StoredResource]:
    search = searching.resolved(query, None)
    page = searching.store.search(search, MOST, total=False)
    yield from page.rows
    while page.has_next:
        page = searching.store.search(search, MOST, page.at, page.last, total=False)
        yield from page.rows


def _group(resource: dict[str, Any]) -> str:
    site = resource.get("bodySite", {})
    places = [site.get("coding"), site.get("extension")]
    return orjson.dumps([resource["code"].get("coding"), places]).decode()
