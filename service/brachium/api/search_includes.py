"""What comes with a page: referenced resources and those that refer (FHIR R4 search 3.1.1.5.4)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

import orjson

from brachium.api.search_matching import elements_at
from brachium.api.search_query import Query
from brachium.api.served import SERVED
from brachium.store.criteria import Criterion, Is, Search

if TYPE_CHECKING:
    from brachium.records import StoredResource
    from brachium.store.port import Store

MOST_INCLUDED = 2000
_AT_ONCE = 500


class Includes:
    """Finds what is included; ``sees`` tells which types the caller may be shown."""

    def __init__(self, store: Store, sees: Callable[[str], bool]) -> None:
        self._store = store
        self._sees = sees
        self.complete = True

    def of(self, query: Query, rows: Sequence[StoredResource]) -> list[StoredResource]:
        """Return what the query includes for a page, each once and none that is a match.

        ``complete`` is false afterwards when there was no room for everything.
        """
        held = {(row.type, row.id) for row in rows}
        named = dict.fromkeys(name for name in self._named(query, rows) if name not in held)
        wanted = list(named)[:MOST_INCLUDED]
        self.complete = len(wanted) == len(named)
        found = {(row.type, row.id): row for row in self._store.read_many(wanted)}
        for kind, name in dict.fromkeys(query.back):
            if self._sees(kind):
                self._referring(kind, name, rows, found)
        return [row for key, row in found.items() if key not in held]

    def _named(self, query: Query, rows: Sequence[StoredResource]) -> Iterator[tuple[str, str]]:
        if not query.includes:
            return
        for row in rows:
            resource = orjson.loads(row.text)
            for name, wanted in query.includes:
                parameter = SERVED[query.kind].parameter(name)
                path = f"{parameter.path}.reference" if parameter else ""
                for text in elements_at(resource, path):
                    kind, _, identity = str(text).partition("/")
                    if wanted in ("", kind) and self._sees(kind):
                        yield kind, identity.partition("/")[0]

    def _referring(
        self,
        kind: str,
        name: str,
        rows: Sequence[StoredResource],
        found: dict[tuple[str, str], StoredResource],
    ) -> None:
        parameter = SERVED[kind].parameter(name)
        targets = tuple(Is(f"{row.type}/{row.id}") for row in rows)
        if parameter is None or not targets:
            return
        search = Search(kind, (Criterion(parameter.rows, targets),))
        page = self._store.search(search, _AT_ONCE, total=False)
        while True:
            found.update({(row.type, row.id): row for row in page.rows})
            if not page.has_next:
                return
            if len(found) >= MOST_INCLUDED:
                self.complete = False
                return
            page = self._store.search(search, _AT_ONCE, page.at, page.last, total=False)
