"""The store on one SQLite file: one writes at a time, any number read beside it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from brachium.records import Occasion
from brachium.store import (
    auditing,
    belonging,
    chain,
    checkpoints,
    histories,
    reading,
    searching,
    secrets,
    verifying,
)
from brachium.store.adding import Addition
from brachium.store.chain import Chain
from brachium.store.clients import SqliteClients
from brachium.store.commits import SharedCommits
from brachium.store.connections import DatabaseFile, Readers, available, writer
from brachium.store.index import Index, is_complete
from brachium.store.job_rows import SqliteJobs
from brachium.store.port import (
    EVERYTHING,
    Added,
    ExamPage,
    Figures,
    Page,
    StoreUnavailable,
)
from brachium.store.quiet import QuietTime
from brachium.store.schema import migrate

if TYPE_CHECKING:
    from brachium.records import (
        AuditEntry,
        AuditHead,
        AuditRow,
        ExamVersion,
        StoredResource,
    )
    from brachium.store.auditing import Teller
    from brachium.store.chain import Terms
    from brachium.store.criteria import Search
    from brachium.store.terms import Reader
    from brachium.store.verifying import Break, Signed

# seconds that whoever asks whether the store is ready waits at most for each lock
_PATIENCE = 1.0


class FoundBy(NamedTuple):
    """What is written into the indexes, and how an entry of the audit reads as a resource."""

    resources: Reader
    entries: Terms
    event: Teller


class SqliteStore:
    """Implements :class:`brachium.store.port.Store`, which says what every method promises."""

    def __init__(self, path: Path, found_by: FoundBy) -> None:
        """Open or make the file; raises ``StoreUnavailable`` for one that cannot be used.

        ``found_by`` says what is written into the indexes.
        """
        with available():
            db = writer(path)
            try:
                migrate(db)
            except BaseException:
                db.close()
                raise
        self._file = DatabaseFile(path)
        self._commits = SharedCommits(db)
        self._readers = Readers(path)
        self._found_by = found_by
        self._chain = Chain(found_by.entries)
        self.clients = SqliteClients(self._commits, self._readers, self._chain)
        self.jobs = SqliteJobs(self._commits, self._readers)
        self._index = Index(found_by.resources)
        self._quiet = QuietTime(self._commits, self._index)
        # an earlier run may have left something that waits
        self._quiet.written()

    def add(
        self, version: ExamVersion, expected: int | None, occasion: Occasion | None = None
    ) -> Added:
        """Store everything of one exam version in one transaction, durable on return."""
        addition = Addition(version, expected, occasion or Occasion(), self._index, self._chain)
        added = self._commits.run(addition.carry_out)
        self._quiet.written()
        return added

    def exam(self, exam_id: str, version: int | None = None) -> ExamVersion | None:
        """Return an exam version (default: the newest) without its resources."""
        with self._readers.lent() as db:
            return reading.exam(db, exam_id, version)

    def exam_by_identifier(self, system: str, value: str) -> ExamVersion | None:
        """Return the newest version of the exam with this business identifier."""
        with self._readers.lent() as db:
            return reading.exam_by_identifier(db, system, value)

    def exams_of(self, patient_id: str) -> tuple[ExamVersion, ...]:
        """Return the newest version of every exam of a patient, in the order of arrival."""
        with self._indexed() as db:
            return reading.exams_of(db, patient_id)

    def exams(
        self,
        since: str | None,
        count: int,
        at: int | None = None,
        after: int = 0,
        organization: str = "",
    ) -> ExamPage:
        """Return exams, each in the version that was the newest at a moment."""
        with self._readers.lent() as db:
            return reading.exams(db, since, count, at, after, organization)

    def versions(self, exam_id: str) -> tuple[ExamVersion, ...]:
        """Return all versions of an exam, oldest first."""
        with self._readers.lent() as db:
            return reading.versions(db, exam_id)

    def resources(self, exam_id: str, version: int | None = None) -> tuple[StoredResource, ...]:
        """Return the resources of an exam version (default: the newest) in their order."""
        with self._readers.lent() as db:
            return reading.members(db, exam_id, version)

    def read(
        self, resource_type: str, resource_id: str, version: int | None = None
    ) -> StoredResource | None:
        """Return one version of a resource (default: the newest)."""
        if resource_type == auditing.TYPE:
            with self._readers.lent() as db:
                event = auditing.event(db, resource_id, self._found_by.event)
                return event if version in (None, 1) else None
        with self._indexed() as db:
            return reading.resource(db, resource_type, resource_id, version)

    def read_many(self, names: Sequence[tuple[str, str]]) -> tuple[StoredResource, ...]:
        """Return the newest version of each resource that is there."""
        with self._indexed() as db:
            return reading.newest(db, names)

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
        if resource_type == auditing.TYPE:
            with self._readers.lent() as db:
                told = (resource_id, since, period, count, at, after, self._found_by.event)
                return auditing.history(db, *told, total=total)
        with self._indexed() as db:
            wanted = (resource_type, resource_id, since, period, count, at, after)
            return histories.told(db, *wanted, total=total, organization=organization)

    def visible(
        self, organization: str, names: Sequence[tuple[str, str]]
    ) -> frozenset[tuple[str, str]]:
        """Return which resources belong to an organization."""
        with self._indexed() as db:
            return belonging.visible(db, organization, names)

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
        if search.type == auditing.TYPE:
            with self._readers.lent() as db:
                tell = self._found_by.event
                return auditing.found(db, search, count, at, after, before, tell, total=total)
        with self._indexed(at) as db:
            return searching.found(db, search, count, at, after, before, total=total)

    def audit(self, after: int = 0, count: int = 1000) -> tuple[AuditRow, ...]:
        """Return the entries of the audit behind number ``after``, oldest first."""
        with self._readers.lent() as db:
            return tuple(chain.rows(db, after, count))

    def record(self, entry: AuditEntry) -> int:
        """Add an entry to the audit, durable on return."""
        return self._commits.run(partial(self._chain.append, entry=entry))

    def head(self) -> AuditHead:
        """Return the end of the audit as it is now."""
        with self._readers.lent() as db:
            return checkpoints.head(db)

    def checkpoint(self, head: AuditHead) -> None:
        """Keep a signed head, and tell of it."""
        self._commits.run(partial(checkpoints.keep, head=head, chain=self._chain))

    def checkpointed(self) -> int:
        """Return the number of the entry that the newest kept head is about."""
        with self._readers.lent() as db:
            return checkpoints.last(db)

    def breaks(self, signed: Signed, kept: AuditHead | None = None) -> Iterator[Break]:
        """Yield everything that is not as it was written."""
        with self._readers.lent() as db:
            yield from verifying.breaks(db, signed, kept)

    def secret(self, name: str) -> bytes:
        """Return a key that the service has made for itself."""
        return secrets.secret(self._commits, self._readers, name)

    def figures(self) -> Figures:
        """Return how much is stored."""
        with self._readers.lent() as db:
            return reading.figures(db, self._file.size())

    def ready(self) -> bool:
        """Tell whether something can be written durably to the file, by doing it."""
        if not self._file.is_there():
            return False
        try:
            self._commits.run_soon(_touch, _PATIENCE)
        except StoreUnavailable:
            return False
        return True

    def close(self) -> None:
        """Let go of the file."""
        self._quiet.close()
        self._readers.close()
        self._commits.close()

    @contextmanager
    def _indexed(self, at: int | None = None) -> Iterator[sqlite3.Connection]:
        """Lend a connection that sees complete indexes, of what there was ``at`` a moment."""
        while True:
            with self._readers.lent() as db:
                if is_complete(db, at):
                    yield db
                    return
            # outside the loan: what it sees was fixed when it began
            self._commits.run(self._index.enter)


def _touch(db: sqlite3.Connection) -> None:
    db.execute("UPDATE readiness SET asked = asked + 1")
