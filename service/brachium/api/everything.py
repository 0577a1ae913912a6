"""Everything about a patient (FHIR R4 OperationDefinition Patient-everything), page by page.

The record comes in stages, one type behind the other, and at the end whoever took part in it. A
page ends in the middle of a stage when it is full; its link holds the stage and the place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import orjson

from brachium.api import fhir_bundles as bundles
from brachium.api.faults import BadSearch, NotFound
from brachium.api.page_links import Place
from brachium.api.requests import printable
from brachium.api.search_dates import period
from brachium.api.search_matching import elements_at
from brachium.api.search_query import MOST, UNKNOWN, VALUE, about
from brachium.api.served import SERVED
from brachium.store.criteria import Criterion, Is, Period, Search

if TYPE_CHECKING:
    from brachium.api.searching import Searching
    from brachium.problems import Problem
    from brachium.records import StoredResource

_FIRST = "Patient"
_TAKING_PART = "DiagnosticReport"
# every stored type with a patient, the patient first
STAGES = (
    _FIRST,
    *(
        kind
        for kind, one in SERVED.items()
        if one.versioned and one.is_record and one.parameter("patient")
    ),
)
PARTIES = ("Practitioner", "Organization")


@dataclass(slots=True)
class Asked:
    """What of the record is wanted."""

    since: str | None = None
    types: frozenset[str] = frozenset((*STAGES, *PARTIES))
    count: int = MOST
    pairs: list[tuple[str, str]] = field(default_factory=list)


def asked(pairs: Iterable[tuple[str, str]]) -> Asked:
    """Return what is wanted; :class:`BadSearch` with every problem."""
    found = Asked()
    problems: list[Problem] = []
    for name, value in pairs:
        if name in ("_format", "_pretty"):
            continue
        try:
            _READERS[name](found, value)
            found.pairs.append((name, value))
        except KeyError:
            shown = printable(name)
            message = f"The parameter {shown} is not known here."
            remedy = f"Allowed: {', '.join(_READERS)}."
            problems.append(about(UNKNOWN, shown, message, "not-supported", remedy))
        except ValueError as refused:
            message = f"The parameter {name} has a value that cannot be used."
            problems.append(about(VALUE, name, message, "value", f"Allowed: {refused}."))
    if problems:
        raise BadSearch(*problems)
    return found


def _since(found: Asked, value: str) -> None:
    moment = period(value)
    if value[:1].isalpha():
        raise ValueError("a date or a time without a prefix")
    found.since = moment.low


def _types(found: Asked, value: str) -> None:
    names = value.split(",")
    if not set(names) <= {*STAGES, *PARTIES}:
        raise ValueError(", ".join((*STAGES, *PARTIES)))
    found.types = frozenset(names)


def _count(found: Asked, value: str) -> None:
    if not (value.isascii() and value.isdigit() and int(value[:7]) > 0):
        raise ValueError("a whole number, 1 or more")
    found.count = min(int(value[:7]), MOST)


_READERS: dict[str, Callable[[Asked, str], None]] = {
    "_since": _since,
    "_type": _types,
    "_count": _count,
}


class Everything:
    """The record of one patient; ``sees`` tells which types the caller may be shown."""

    def __init__(self, searching: Searching, patient: str, sees: Callable[[str], bool]) -> None:
        self.path = f"Patient/{patient}/$everything"
        self._searching = searching
        self._store = searching.store
        self._patient = patient
        self._sees = sees

    def answer(self, wanted: Asked, place: Place | None) -> bytes:
        """Return one page of the record; 404 for a patient who is not stored."""
        if self._store.read("Patient", self._patient) is None:
            raise NotFound
        here = place or Place()
        total = self._total(wanted) if place is None else here.total
        rows, following = self._page(wanted, here)
        made = self._searching.links
        links = {"self": made.own(self.path, wanted.pairs, place)}
        if following:
            following = replace(following, total=total)
            links["next"] = made.link(self.path, wanted.pairs, following)
        base = self._searching.base
        entries = (bundles.found(base, row, "match") for row in rows)
        return bundles.bundle("searchset", total, links, entries)

    def _stages(self, wanted: Asked) -> list[str]:
        return [kind for kind in STAGES if kind in wanted.types and self._sees(kind)]

    def _total(self, wanted: Asked) -> int:
        found = sum(
            self._store.search(self._search(kind, wanted), 1).total or 0
            for kind in self._stages(wanted)
        )
        return found + len(self._parties(wanted, None))

    def _page(self, wanted: Asked, here: Place) -> tuple[list[StoredResource], Place | None]:
        """Return the rows of a page and where the next begins: ``stage number:place in it``."""
        stages = self._stages(wanted)
        number, _, after = (here.after or "0:").partition(":")
        stage, mark = int(number), here.at
        rows: list[StoredResource] = []
        while stage < len(stages):
            room = wanted.count - len(rows)
            if not room:
                return rows, Place(mark, f"{stage}:{after}")
            page = self._store.search(
                self._search(stages[stage], wanted), room, mark, after or None, total=False
            )
            mark = page.at
            rows += page.rows
            stage, after = (stage, page.last or "") if page.has_next else (stage + 1, "")
        parties = self._parties(wanted, mark)
        start = int(after or 0)
        room = wanted.count - len(rows)
        rows += parties[start : start + room]
        more = start + room < len(parties)
        return rows, Place(mark, f"{stage}:{start + room}") if more else None

    def _search(self, kind: str, wanted: Asked) -> Search:
        name, value = ("_id", self._patient) if kind == _FIRST else ("patient", self._reference)
        criteria = [Criterion((name,), (Is(value),))]
        if wanted.since:
            since = Period("ge", wanted.since, wanted.since)
            criteria.append(Criterion(("_lastUpdated",), (since,)))
        return Search(kind, tuple(criteria))

    @property
    def _reference(self) -> str:
        return f"Patient/{self._patient}"

    def _parties(self, wanted: Asked, mark: int | None) -> list[StoredResource]:
        """Return whoever took part in the exams, in the order of their first exam."""
        kinds = [kind for kind in PARTIES if kind in wanted.types and self._sees(kind)]
        if not kinds:
            return []
        named = dict.fromkeys(
            (kind, identity)
            for text in self._performers(mark)
            for kind, _, identity in [text.partition("/")]
            if kind in kinds
        )
        rows = self._store.read_many(list(named))
        return [row for row in rows if not wanted.since or row.updated >= wanted.since]

    def _performers(self, mark: int | None) -> Iterable[str]:
        search = Search(_TAKING_PART, (Criterion(("patient",), (Is(self._reference),)),))
        after = None
        while True:
            page = self._store.search(search, MOST, mark, after, total=False)
            for row in page.rows:
                yield from elements_at(orjson.loads(row.text), "performer.reference")
            if not page.has_next:
                return
            mark, after = page.at, page.last
