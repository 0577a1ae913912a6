"""Carrying a search out: pages of the store or of the definitions, as searchset bundles."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from brachium.api import fhir_bundles as bundles
from brachium.api.answers import outcome
from brachium.api.faults import BadSearch
from brachium.api.page_links import PageLinks, Place, TooLong
from brachium.api.partial import part_of
from brachium.api.search_includes import Includes
from brachium.api.search_query import INCOMPLETE, MOST, TOO_WIDE, Chained, Query, about
from brachium.records import StoredResource
from brachium.store.criteria import Criterion, Is, Search

if TYPE_CHECKING:
    from brachium.api.definitions import Definitions
    from brachium.problems import Problem
    from brachium.store.port import Store


@dataclass(frozen=True, slots=True)
class Found:
    """One page of matches with the places around it; ``None`` where there is no further page."""

    rows: Sequence[StoredResource]
    total: int | None
    at: int | None
    previous: Place | None = None
    following: Place | None = None


@dataclass(frozen=True, slots=True)
class Searching:
    """What searches are carried out with; ``base`` is the address of the FHIR interface."""

    store: Store
    definitions: Definitions
    links: PageLinks
    base: str
    canonical: str

    def answer(
        self, query: Query, place: Place | None, sees: Callable[[str], bool], path: str | None
    ) -> bytes:
        """Return the bundle of a page.

        ``place`` is ``None`` for a new search. ``path`` is where a search stands that came as an
        address; ``None`` for one that came as a form, whose self link must say nothing.
        """
        found = self._stored(query, place) if query.versioned else self._defined(query, place)
        warnings = list(query.warnings) if place is None else []
        entries, missing = self._entries(query, found, sees)
        if missing:
            warnings.append(about(INCOMPLETE, "_include", _NO_ROOM, "incomplete"))
        if warnings:
            entries.append(bundles.told(outcome(warnings, self.canonical)))
        links = self._links(query, place, found, path)
        return bundles.bundle("searchset", found.total, links, entries)

    def _entries(
        self, query: Query, found: Found, sees: Callable[[str], bool]
    ) -> tuple[list[bytes], bool]:
        entries = [
            bundles.found(
                self.base, row, "match", part_of(row.text, row.type, query.summary, query.elements)
            )
            for row in found.rows
        ]
        if not (query.includes or query.back) or not found.rows:
            return entries, False
        includes = Includes(self.store, sees)
        for row in includes.of(query, found.rows):
            text = part_of(row.text, row.type, query.summary, ())
            entries.append(bundles.found(self.base, row, "include", text))
        return entries, not includes.complete

    def _links(
        self, query: Query, place: Place | None, found: Found, path: str | None
    ) -> dict[str, str]:
        """Return the links around a page (FHIR R4 3.1.0.14); a page that is alone has its own."""
        pairs = query.honoured
        links = {"self": self._self(query, place, path)}
        if found.previous or found.following:
            first = Place(found.at, total=found.total)
            links["first"] = self.links.link(query.kind, pairs, first)
        if found.previous:
            links["previous"] = self.links.link(query.kind, pairs, found.previous)
        if found.following:
            links["next"] = self.links.link(query.kind, pairs, found.following)
        return links

    def _self(self, query: Query, place: Place | None, path: str | None) -> str:
        try:
            # what came as a form may hold what should stand in no address
            here = place if path else place or Place()
            return self.links.own(path or query.kind, query.honoured, here)
        except TooLong:
            return f"{self.base}/{query.kind}/_search"

    def _stored(self, query: Query, place: Place | None) -> Found:
        here = place or Place()
        search = self.resolved(query, here.at)
        counting = query.total and here.total is None
        count = 1 if query.counts_only else query.count
        page = self.store.search(
            search, count, here.at, here.after, here.before, total=counting or query.counts_only
        )
        total = page.total if here.total is None else here.total
        if query.counts_only:
            return Found((), page.total, page.at)
        return Found(
            page.rows,
            total,
            page.at,
            Place(page.at, before=page.first, total=total) if page.has_previous else None,
            Place(page.at, after=page.last, total=total) if page.has_next else None,
        )

    def _defined(self, query: Query, place: Place | None) -> Found:
        found = self.definitions.search(query.search)
        total = len(found) if query.total or query.counts_only else None
        if query.counts_only:
            return Found((), total, None)
        start = int(place.after or 0) if place else 0
        end = start + query.count
        rows = [StoredResource(one.type, one.id, 1, "", one.text) for one in found[start:end]]
        before = str(max(0, start - query.count))
        return Found(
            rows,
            total,
            None,
            Place(after=before, total=total) if start else None,
            Place(after=str(end), total=total) if end < len(found) else None,
        )

    def resolved(self, query: Query, at: int | None) -> Search:
        """Return the search with what is chained put into the terms of the store."""
        search = query.search
        chained = tuple(self._behind(one, at) for one in query.chained)
        return search._replace(criteria=(*search.criteria, *chained))

    def _behind(self, chained: Chained, at: int | None) -> Criterion:
        """Return the criterion of what a reference must lead to; nothing is found behind none."""
        references = []
        for search in chained.searches:
            page = self.store.search(search, MOST, at, total=False)
            if page.has_next:
                raise BadSearch(_too_many(search))
            references += [Is(f"{row.type}/{row.id}") for row in page.rows]
        return Criterion(chained.parameters, tuple(references) or (_NOBODY,))


# a reference that is stored nowhere
_NOBODY = Is("-")
_NO_ROOM = "Not everything that was to be included is in this page."


def _too_many(search: Search) -> Problem:
    name = search.criteria[0].parameters[0]
    message = f"The chained search leads to more than {MOST} resources."
    return about(TOO_WIDE, name, message, "too-costly")
