"""Whose records a limited export holds: the patients, and whom their reports name.

A group holds every patient whom a report says to be examined at its organization, in the newest
version of the report, withdrawn or not.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import orjson

from brachium.bulk.steps import FEW, PAGE
from brachium.store.criteria import Criterion, Is, Search

if TYPE_CHECKING:
    from brachium.bulk.wanted import Wanted
    from brachium.records import StoredResource
    from brachium.store.jobs import Job, JobBook
    from brachium.store.port import Store

_REPORT = "DiagnosticReport"
_PARTIES = ("Practitioner", "Organization")


@dataclass(frozen=True, slots=True)
class Limiting:
    """Finds the members of a job and notes them with it."""

    store: Store
    jobs: JobBook
    job: Job
    wanted: Wanted

    def note(self) -> None:
        """Note patients, then practitioners and organizations; repeating changes nothing."""
        if self.wanted.group:
            for rows in self._reports("performer", f"Organization/{self.wanted.group}"):
                self._add(_references(rows, ("Patient",)))
        else:
            self._add(("Patient", one) for one in self.wanted.patients)
        after = ""
        while ids := self.jobs.members(self.job.id, "Patient", after, FEW):
            after = ids[-1]
            for one in ids:
                for rows in self._reports("patient", f"Patient/{one}"):
                    self._add(_references(rows, _PARTIES))

    def _reports(self, parameter: str, value: str) -> Iterator[tuple[StoredResource, ...]]:
        search = Search(_REPORT, (Criterion((parameter,), (Is(value),)),))
        after, more = None, True
        while more:
            page = self.store.search(search, PAGE, self.job.at, after, total=False)
            after, more = page.last, page.has_next
            yield page.rows

    def _add(self, names: Iterable[tuple[str, str]]) -> None:
        found = sorted(set(names))
        if found:
            self.jobs.add_members(self.job.id, found)


def _references(
    rows: Iterable[StoredResource], kinds: tuple[str, ...]
) -> Iterator[tuple[str, str]]:
    for row in rows:
        report: dict[str, Any] = orjson.loads(row.text)
        for one in (report.get("subject", {}), *report.get("performer", ())):
            kind, _, identity = one.get("reference", "").partition("/")
            if kind in kinds:
                yield kind, identity
