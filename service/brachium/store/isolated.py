"""The store as one organization sees it: what belongs to others is not there (matrix SEC-12).

The one place that narrows. Whoever works for a client has this store and no other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from brachium.store.port import EVERYTHING, Added, Contradiction, ExamPage, Page

if TYPE_CHECKING:
    from brachium.records import (
        AuditEntry,
        AuditHead,
        AuditRow,
        ExamVersion,
        Occasion,
        StoredResource,
    )
    from brachium.store.criteria import Search
    from brachium.store.port import Figures, Store
    from brachium.store.verifying import Break, Signed

# the type of what the audit tells
TRAIL = "AuditEvent"


@dataclass(frozen=True, slots=True)
class IsolatedStore:
    """A store for whoever asks just now.

    ``whose`` returns the id of the Organization that the asking client belongs to, empty for one
    that sees everything. It has to raise when nobody said who asks: to show everything then would
    be a leak that nobody notices.
    """

    inner: Store
    whose: Callable[[], str]

    def add(
        self, version: ExamVersion, expected: int | None, occasion: Occasion | None = None
    ) -> Added:
        """Store an exam version; :class:`Contradiction` for an exam of another organization."""
        if self.whose() not in ("", version.organization):
            raise Contradiction("an exam of another organization")
        return self.inner.add(version, expected, occasion)

    def exam(self, exam_id: str, version: int | None = None) -> ExamVersion | None:
        """Return an exam version (default: the newest) without its resources."""
        return self._own(self.inner.exam(exam_id, version))

    def exam_by_identifier(self, system: str, value: str) -> ExamVersion | None:
        """Return the newest version of the exam with this business identifier."""
        return self._own(self.inner.exam_by_identifier(system, value))

    def exams_of(self, patient_id: str) -> tuple[ExamVersion, ...]:
        """Return the newest version of every exam of a patient, in the order of arrival."""
        return self._all_own(self.inner.exams_of(patient_id))

    def exams(
        self,
        since: str | None,
        count: int,
        at: int | None = None,
        after: int = 0,
        organization: str = "",
    ) -> ExamPage:
        """Return exams, each in the version that was the newest at a moment."""
        return self.inner.exams(since, count, at, after, self.whose() or organization)

    def versions(self, exam_id: str) -> tuple[ExamVersion, ...]:
        """Return all versions of an exam, oldest first."""
        return self._all_own(self.inner.versions(exam_id))

    def resources(self, exam_id: str, version: int | None = None) -> tuple[StoredResource, ...]:
        """Return the resources of an exam version (default: the newest) in their order."""
        if self.whose() and self.exam(exam_id) is None:
            return ()
        return self.inner.resources(exam_id, version)

    def read(
        self, resource_type: str, resource_id: str, version: int | None = None
    ) -> StoredResource | None:
        """Return one version of a resource (default: the newest)."""
        organization = self.whose()
        if organization and not self.inner.visible(organization, [(resource_type, resource_id)]):
            return None
        return self.inner.read(resource_type, resource_id, version)

    def read_many(self, names: Sequence[tuple[str, str]]) -> tuple[StoredResource, ...]:
        """Return the newest version of each resource that is there."""
        organization = self.whose()
        if organization:
            seen = self.inner.visible(organization, names)
            names = [name for name in names if name in seen]
        return self.inner.read_many(names)

    def visible(
        self, organization: str, names: Sequence[tuple[str, str]]
    ) -> frozenset[tuple[str, str]]:
        """Return which resources the organization sees."""
        return self.inner.visible(self.whose() or organization, names)

    def history(
        self,
        resource_type: str | None,
        resource_id: str | None = None,
        since: str | None = None,
        period: tuple[str, str] | None = None,
        count: int = EVERYTHING,
        at: int | None = None,
        after: str | None = None,
        *,
        total: bool = True,
        organization: str = "",
    ) -> Page:
        """Return a page of versions, newest first."""
        if resource_type == TRAIL:
            self._refuse()
        wanted = (resource_type, resource_id, since, period, count, at, after)
        narrowed = self.whose() or organization
        return self.inner.history(*wanted, total=total, organization=narrowed)

    def search(
        self,
        search: Search,
        count: int,
        at: int | None = None,
        after: str | None = None,
        before: str | None = None,
        *,
        total: bool = True,
    ) -> Page:
        """Return a page of the resources whose newest version meets every criterion."""
        if search.type == TRAIL:
            self._refuse()
        narrowed = search._replace(organization=self.whose() or search.organization)
        return self.inner.search(narrowed, count, at, after, before, total=total)

    def audit(self, after: int = 0, count: int = 1000) -> tuple[AuditRow, ...]:
        """Return the entries of the audit, which is one for everybody."""
        self._refuse()
        return self.inner.audit(after, count)

    def record(self, entry: AuditEntry) -> int:
        """Add an entry to the audit."""
        return self.inner.record(entry)

    def head(self) -> AuditHead:
        """Return the end of the audit, which is one for everybody."""
        self._refuse()
        return self.inner.head()

    def checkpoint(self, head: AuditHead) -> None:
        """Keep a signed head."""
        self.inner.checkpoint(head)

    def checkpointed(self) -> int:
        """Return what was kept of the audit, which is one for everybody."""
        self._refuse()
        return self.inner.checkpointed()

    def breaks(self, signed: Signed, kept: AuditHead | None = None) -> Iterator[Break]:
        """Yield what is not as it was written in the audit, which is one for everybody."""
        self._refuse()
        return self.inner.breaks(signed, kept)

    def secret(self, name: str) -> bytes:
        """Return a key that the service has made for itself."""
        return self.inner.secret(name)

    def figures(self) -> Figures:
        """Return how much is stored by everybody."""
        self._refuse()
        return self.inner.figures()

    def ready(self) -> bool:
        """Tell whether something can be written durably."""
        return self.inner.ready()

    def close(self) -> None:
        """Let go of the database."""
        self.inner.close()

    def _refuse(self) -> None:
        """Tell no organization what is of all; whoever lets it ask has forgotten something."""
        if self.whose():
            raise Contradiction("this is of all organizations together")

    def _own(self, exam: ExamVersion | None) -> ExamVersion | None:
        if exam is None or self.whose() not in ("", exam.organization):
            return None
        return exam

    def _all_own(self, exams: tuple[ExamVersion, ...]) -> tuple[ExamVersion, ...]:
        organization = self.whose()
        return tuple(one for one in exams if organization in ("", one.organization))
