"""Flat tables of what is stored: one exam after the other, so that memory stays as it is.

Every table begins with the columns of :data:`ABOUT`, which no resource holds: they come from the
exam that a resource belongs to. The others are those of a view, or of a coding.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeAlias

import orjson

from brachium.coding.periods import interval
from brachium.export.definitions import definitions
from brachium.export.export import Export
from brachium.export.written import FORMATS
from brachium.flat.views import Column, View
from brachium.formats import lossless
from brachium.formats.codings import HEADER

if TYPE_CHECKING:
    from brachium.records import ExamVersion, StoredResource

Cells: TypeAlias = tuple[Any, ...]

CODINGS = "codings"
EXAM = (
    Column("exam_id", "id"),
    Column("exam", "string"),
    Column("exam_version", "integer"),
    Column("edition", "string"),
)
FINDING = (
    Column("key", "string"),
    Column("kind", "code"),
    Column("joint", "code"),
    Column("digit", "code"),
    Column("item", "code"),
    Column("mode", "code"),
)
# what a finding is about besides joint and digit, whatever its kind
_ITEMS = ("motion", "test", "sign", "part")
# exams that are read at a time
_BATCH = 50


@dataclass(frozen=True, slots=True)
class Window:
    """Which exams: examined from ``low`` to before ``high``, last changed at ``since`` or later.

    All are UTC instants of 24 characters; empty leaves open.
    """

    low: str = ""
    high: str = ""
    since: str = ""

    def holds(self, effective: str) -> bool:
        """Tell whether an exam of this time is among them."""
        start = interval(effective).partition("/")[0]
        return self.low <= start and (not self.high or start < self.high)


def window(low: str = "", high: str = "", since: str = "") -> Window:
    """Return a window from dates as FHIR writes them; ``high`` is the last day or moment in it.

    Raises ``ValueError`` for what is no date.
    """
    return Window(_start(low), interval(high).partition("/")[2] if high else "", _start(since))


def _start(text: str) -> str:
    return interval(text).partition("/")[0] if text else ""


@dataclass(frozen=True, slots=True)
class Table:
    """A flat table: its columns, and the rows of one exam version."""

    name: str
    columns: tuple[Column, ...]
    _rows: Callable[[ExamVersion, tuple[StoredResource, ...]], Iterable[Cells]]

    def of(self, exam: ExamVersion, rows: tuple[StoredResource, ...]) -> Iterator[Cells]:
        """Yield the rows of an exam; an empty text or list is no value."""
        for row in self._rows(exam, rows):
            yield tuple(None if cell in ("", []) else cell for cell in row)


@dataclass(frozen=True)
class FlatTables:
    """Every flat table that the service has, over what is stored."""

    export: Export

    @cached_property
    def views(self) -> Mapping[str, View]:
        """The views by name."""
        return definitions(self.export.canonical)

    @cached_property
    def tables(self) -> Mapping[str, Table]:
        """The tables by name: one for each view, and that of the codings."""
        found = {name: _table(one) for name, one in self.views.items()}
        codings = tuple(Column(name, "string") for name in HEADER if name != "edition")
        found[CODINGS] = Table(CODINGS, (*EXAM, *codings), self._codings)
        return found

    def rows(self, name: str, wanted: Window) -> Iterator[Cells]:
        """Yield the rows of a table, exam after exam in the order of arrival.

        Each exam is there once, in the version that was newest when the first row was asked for;
        exams that come later are not among them. A withdrawn exam is, and says so in its status.
        """
        table, store = self.tables[name], self.export.store
        at, after = None, 0
        while True:
            page = store.exams(wanted.since or None, _BATCH, at, after)
            for exam in page.rows:
                if wanted.holds(orjson.loads(exam.content)["effective"]):
                    yield from table.of(exam, store.resources(exam.id, exam.version))
            if page.after is None:
                return
            at, after = page.at, page.after

    def written(self, name: str, form: str, wanted: Window) -> Iterator[bytes]:
        """Yield a table in one of ``FORMATS``; KeyError for a table or a form that is not there."""
        return FORMATS[form].write(self.tables[name].columns, self.rows(name, wanted))

    def _codings(self, exam: ExamVersion, rows: tuple[StoredResource, ...]) -> Iterator[Cells]:
        for row in self.export.coded(rows, exam.edition):
            cells = (getattr(row, name) for name in HEADER if name != "edition")
            yield (*_about(exam), *cells)


def _table(view: View) -> Table:
    def rows(exam: ExamVersion, resources: tuple[StoredResource, ...]) -> Iterator[Cells]:
        findings = {one["key"]: one for one in orjson.loads(exam.content)["findings"]}
        about = _about(exam)
        for one in resources:
            if one.type == view.resource:
                resource = lossless.parse(one.text)
                first = (*about, *_finding(exam, resource, findings))
                yield from ((*first, *row) for row in view.rows(resource))

    return Table(view.name, (*EXAM, *FINDING, *view.columns), rows)


def _about(exam: ExamVersion) -> Cells:
    return (exam.id, exam.value, exam.version, exam.edition)


def _finding(
    exam: ExamVersion, resource: Mapping[str, Any], findings: Mapping[str, Mapping[str, Any]]
) -> Cells:
    """Return the words of the finding that an Observation is of; its identifier tells the key."""
    named = resource["identifier"][0]["value"].removeprefix(f"{exam.value}/")
    finding = findings.get(named.partition("/")[0])
    if finding is None:
        return (named, *(None,) * 5)
    item = next((finding[name] for name in _ITEMS if name in finding), None)
    return (
        named,
        finding["kind"],
        finding["joint"],
        finding.get("digit"),
        item,
        finding.get("mode"),
    )
