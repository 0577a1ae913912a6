"""What a store promises, whatever database is behind it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

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
    from brachium.store.verifying import Break, Signed

# more than any store holds
EVERYTHING = 2**31


class StoreUnavailable(Exception):
    """The database cannot be opened, read or written now; nothing was changed."""


class Contradiction(ValueError):
    """What should be stored contradicts what is stored; nothing was changed."""


class Overtaken(Exception):
    """The stamp lies at or before ``moment``, which an export says everything is in up to.

    Nothing was changed; the same is stored with a stamp after that moment.
    """

    def __init__(self, moment: str) -> None:
        super().__init__("an export was begun between the stamp and the transaction")
        self.moment = moment


class Outcome(StrEnum):
    """What became of an exam version that was to be added.

    ``created``: it is stored. ``same``: an exam with this identifier and content is there already.
    ``conflict``: the identifier is taken by other content. ``stale``: the exam has moved on from
    the expected version. ``missing``: there is no exam to put a new version to.
    """

    CREATED = "created"
    SAME = "same"
    CONFLICT = "conflict"
    STALE = "stale"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class Added:
    """The outcome, and the exam version that is the newest now.

    The exam comes without its resources; ``Store.resources`` has them. When the exam is missing
    there is nothing newest, and ``exam`` is what was sent.
    """

    outcome: Outcome
    exam: ExamVersion


@dataclass(frozen=True, slots=True)
class Page:
    """Part of a search result or of a history.

    ``total`` counts all matches, or is ``None`` where that was not asked for. ``at`` is the moment
    that was looked at: the next page asked for with it sees the same. ``first`` and ``last`` are
    the places of the first and the last row; they mean something to the store alone.
    """

    total: int | None
    rows: tuple[StoredResource, ...]
    at: int
    first: str | None
    last: str | None
    has_previous: bool
    has_next: bool


@dataclass(frozen=True, slots=True)
class ExamPage:
    """Some exams in the order of arrival.

    ``at`` is the moment that was looked at, ``after`` the place of the next page, or ``None``.
    """

    rows: tuple[ExamVersion, ...]
    at: int
    after: int | None


@dataclass(frozen=True, slots=True)
class Figures:
    """How much is stored; ``bytes`` on the disk, ``waiting`` not yet entered in the indexes."""

    exams: int
    exam_versions: int
    resource_versions: int
    waiting: int
    bytes: int


class Store(Protocol):
    """Keeps exam versions and their resources; nothing is ever changed or deleted.

    Every method may be called from any thread and raises :class:`StoreUnavailable` when the
    database fails.
    """

    def add(
        self, version: ExamVersion, expected: int | None, occasion: Occasion | None = None
    ) -> Added:
        """Store everything of one exam version in one transaction, durable on return.

        ``expected`` is ``None`` for a new exam, else the version that the new one follows. The
        database itself refuses a second exam with the same identifier (EXM-05). A resource with a
        version number is stored under it, or linked when that version is there; without one it is
        linked while its content is the newest stored, and else becomes the next version. The
        resources of a new exam that carry a number are new and have number 1. Raises
        :class:`Contradiction` when a stored version would have to change, and :class:`Overtaken`
        when an export was begun since the stamp of the version was taken.
        """
        ...

    def exam(self, exam_id: str, version: int | None = None) -> ExamVersion | None:
        """Return an exam version (default: the newest) without its resources."""
        ...

    def exam_by_identifier(self, system: str, value: str) -> ExamVersion | None:
        """Return the newest version of the exam with this business identifier."""
        ...

    def exams_of(self, patient_id: str) -> tuple[ExamVersion, ...]:
        """Return the newest version of every exam of a patient, in the order of arrival.

        ``patient_id`` is the id of the Patient that the reports of the exams are about; withdrawn
        exams are among them. Empty for a patient who is not stored.
        """
        ...

    def exams(
        self,
        since: str | None,
        count: int,
        at: int | None = None,
        after: int = 0,
        organization: str = "",
    ) -> ExamPage:
        """Return exams, each in the version that was the newest at a moment.

        With ``organization`` only those that belong to it.

        ``since`` is a UTC instant: exams whose newest version was recorded then or later. ``at``
        and ``after`` are those of the page before; a page with the same ``at`` sees the same.
        """
        ...

    def versions(self, exam_id: str) -> tuple[ExamVersion, ...]:
        """Return all versions of an exam, oldest first; empty when it is not stored."""
        ...

    def resources(self, exam_id: str, version: int | None = None) -> tuple[StoredResource, ...]:
        """Return the resources of an exam version (default: the newest) in their order."""
        ...

    def read(
        self, resource_type: str, resource_id: str, version: int | None = None
    ) -> StoredResource | None:
        """Return one version of a resource (default: the newest)."""
        ...

    def read_many(self, names: Sequence[tuple[str, str]]) -> tuple[StoredResource, ...]:
        """Return the newest version of each resource, by type and id, of those that are there."""
        ...

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
        """Return the versions of a resource, a type or (``None``) everything, newest first.

        ``since`` is a UTC instant: versions stored then or later. ``period`` holds two instants:
        versions that were the newest at some time from the first to before the second. ``at`` and
        ``after`` are those of the page before, which need not be counted again. With
        ``organization`` only versions of what belongs to it.
        """
        ...

    def visible(
        self, organization: str, names: Sequence[tuple[str, str]]
    ) -> frozenset[tuple[str, str]]:
        """Return which resources, by type and id, belong to an organization."""
        ...

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
        """Return a page of the resources whose newest version meets every criterion.

        ``at`` is that of an earlier page, whose newest versions are looked at again; ``after`` and
        ``before`` are the last and the first place of one, and a text that is no place leads
        nowhere. The work of a page does not depend on how many went before.
        """
        ...

    def audit(self, after: int = 0, count: int = 1000) -> tuple[AuditRow, ...]:
        """Return the entries of the audit behind number ``after``, oldest first."""
        ...

    def record(self, entry: AuditEntry) -> int:
        """Add an entry to the audit, durable on return, and return its number.

        What is stored is recorded by :meth:`add` itself, in the same transaction.
        """
        ...

    def head(self) -> AuditHead:
        """Return the end of the audit as it is now, without a signature."""
        ...

    def checkpoint(self, head: AuditHead) -> None:
        """Keep a signed head, and tell of it; the chain is compared with it from then on."""
        ...

    def checkpointed(self) -> int:
        """Return the number of the entry that the newest kept head is about, 0 without one."""
        ...

    def breaks(self, signed: Signed, kept: AuditHead | None = None) -> Iterator[Break]:
        """Yield everything in the audit, and in what it seals, that is not as it was written.

        ``signed`` tells whether a head is signed by us; ``kept`` was kept elsewhere.
        """
        ...

    def secret(self, name: str) -> bytes:
        """Return a key of 32 random bytes, made when first asked for and the same ever after."""
        ...

    def figures(self) -> Figures:
        """Return how much is stored."""
        ...

    def ready(self) -> bool:
        """Tell whether something can be written durably to the file, by doing it."""
        ...

    def close(self) -> None:
        """Let go of the database; the store is of no use afterwards."""
        ...
