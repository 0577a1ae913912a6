"""Going through what an export holds, in an order that is the same whenever it is gone on with.

A place is JSON text: the number of the type, of its filter, the patient or the first of a few ids
whose resources come, and the place in their search.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import orjson

from brachium.bulk.wanted import ABOUT_PATIENTS, Wanted
from brachium.store.criteria import Criterion, Is, Period, Search

if TYPE_CHECKING:
    from brachium.records import StoredResource
    from brachium.store.jobs import JobBook
    from brachium.store.port import Store

# the criteria of a search of a type as ``_typeFilter`` has it, as of a snapshot
Filters: TypeAlias = Callable[[str, str, int], tuple[Criterion, ...]]
# resources fetched at a time: about a megabyte
PAGE = 500
# ids looked up at a time
FEW = 50


class Place(NamedTuple):
    """Where to go on: behind ``after`` in the search of ``part``, or at the next part without."""

    type: int = 0
    filter: int = 0
    part: str = ""
    after: str | None = None

    @property
    def text(self) -> str:
        """The place as text."""
        return orjson.dumps(tuple(self)).decode()

    @classmethod
    def read(cls, text: str) -> Place:
        """Return the place of a text; empty text is the beginning."""
        return cls(*orjson.loads(text)) if text else cls()


class Step(NamedTuple):
    """A few resources of one type, and the place behind them."""

    rows: Sequence[StoredResource]
    behind: Place


@dataclass(frozen=True, slots=True)
class Walk:
    """The way through a snapshot; ``job`` names the members that a limited export has."""

    store: Store
    jobs: JobBook
    filters: Filters
    wanted: Wanted
    at: int
    job: str = ""

    def of_type(self, place: Place, size: int = PAGE) -> Iterator[Step]:
        """Yield the resources of the type at a place, from there on."""
        kind = self.wanted.types[place.type]
        sets = self._criteria(kind)
        for number in range(place.filter, len(sets)):
            here = place if number == place.filter else Place(place.type, number)
            for step in self._filtered(kind, sets[number], here, size):
                yield step._replace(rows=self._fresh(kind, step.rows, sets[:number]))

    def _criteria(self, kind: str) -> list[tuple[Criterion, ...]]:
        """Return the criteria of each filter; what meets one of them is wanted."""
        since = (_since(self.wanted.since),) if self.wanted.since else ()
        queries = self.wanted.filters_of(kind)
        return [(*since, *self.filters(kind, one, self.at)) for one in queries] or [since]

    def _filtered(
        self, kind: str, criteria: tuple[Criterion, ...], place: Place, size: int
    ) -> Iterator[Step]:
        if not self.wanted.limited:
            after = place.after
            if after is None and self.wanted.since:
                after = self.jobs.since(self.wanted.since)
            yield from self._pages(Search(kind, criteria), place._replace(after=after), size)
        elif kind in ABOUT_PATIENTS:
            yield from self._by_patient(kind, criteria, place, size)
        else:
            yield from self._by_id(kind, criteria, place)

    def _by_patient(
        self, kind: str, criteria: tuple[Criterion, ...], place: Place, size: int
    ) -> Iterator[Step]:
        if place.after is not None:
            yield from self._of_patient(kind, criteria, place, size)
        while ids := self.jobs.members(self.job, "Patient", place.part, FEW):
            for one in ids:
                place = place._replace(part=one, after=None)
                yield from self._of_patient(kind, criteria, place, size)

    def _of_patient(
        self, kind: str, criteria: tuple[Criterion, ...], place: Place, size: int
    ) -> Iterator[Step]:
        about = Criterion(("patient",), (Is(f"Patient/{place.part}"),))
        yield from self._pages(Search(kind, (about, *criteria)), place, size)

    def _by_id(self, kind: str, criteria: tuple[Criterion, ...], place: Place) -> Iterator[Step]:
        while ids := self.jobs.members(self.job, kind, place.part, FEW):
            place = place._replace(part=ids[-1])
            yield Step(self._named(kind, criteria, ids), place)

    def _named(
        self, kind: str, criteria: tuple[Criterion, ...], ids: Sequence[str]
    ) -> tuple[StoredResource, ...]:
        named = Criterion(("_id",), tuple(map(Is, ids)))
        return self.store.search(
            Search(kind, (named, *criteria)), len(ids), self.at, total=False
        ).rows

    def _pages(self, search: Search, place: Place, size: int) -> Iterator[Step]:
        after = place.after
        more = True
        while more:
            page = self.store.search(search, size, self.at, after, total=False)
            after, more = page.last, page.has_next
            if page.rows:
                yield Step(page.rows, place._replace(after=after))

    def _fresh(
        self,
        kind: str,
        rows: Sequence[StoredResource],
        earlier: Sequence[tuple[Criterion, ...]],
    ) -> Sequence[StoredResource]:
        """Leave out what an earlier filter has found: every resource comes once."""
        if not earlier:
            return rows
        known: set[str] = set()
        for start in range(0, len(rows), FEW):
            ids = [row.id for row in rows[start : start + FEW]]
            for criteria in earlier:
                known.update(row.id for row in self._named(kind, criteria, ids))
        return [row for row in rows if row.id not in known]


def _since(moment: str) -> Criterion:
    return Criterion(("_lastUpdated",), (Period("ge", moment, moment),))
