"""What a book of export jobs promises: what was asked for, how far it has come, what it wrote.

Moments are FHIR instants. A job looks at one cut through everything that is stored: at what was
committed before it, all of which was stored before its moment, while everything committed later is
stored after it (Bulk Data Access 2.0, transactionTime).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple, Protocol


class Cut(NamedTuple):
    """A cut: ``at`` is the snapshot that searches take, ``moment`` lies between before and after.

    Nothing that is stored has this moment itself.
    """

    at: int
    moment: str


class JobState(StrEnum):
    """Where a job stands."""

    RUNNING = "running"
    COMPLETE = "complete"
    FAILED = "failed"


class NewJob(NamedTuple):
    """A job before it is accepted: whose it is, the address it was asked for by, what is wanted."""

    id: str
    client: str
    request: str
    wanted: bytes


class Job(NamedTuple):
    """A job; ``place`` says where to go on, ``written`` how many resources are in its files.

    ``finished`` and ``expires`` are empty while it runs.
    """

    id: str
    client: str
    request: str
    wanted: bytes
    begun: str
    at: int
    moment: str
    state: JobState
    place: str
    written: int
    finished: str
    expires: str


class OutputFile(NamedTuple):
    """One finished file: ``kind`` is output or error, ``digest`` the SHA-256 of its bytes."""

    kind: str
    type: str
    name: str
    lines: int
    size: int
    digest: str


class JobBook(Protocol):
    """Export jobs; every method may raise ``StoreUnavailable``."""

    def cut(self, now: str) -> Cut:
        """Cut through everything that is stored."""
        ...

    def begin(self, job: NewJob, now: str, most: int) -> Job | None:
        """Accept a job and cut for it; ``None`` when its client has ``most`` running already."""
        ...

    def find(self, job_id: str) -> Job | None:
        """Return a job."""
        ...

    def all(self) -> tuple[Job, ...]:
        """Return every job, the oldest first."""
        ...

    def files(self, job_id: str) -> tuple[OutputFile, ...]:
        """Return the finished files of a job in their order."""
        ...

    def advance(self, job_id: str, place: str, files: Sequence[OutputFile]) -> bool:
        """Note finished files, and where to go on behind them; false when the job is gone."""
        ...

    def end(self, job_id: str, state: JobState, now: str, expires: str) -> None:
        """Say that nothing more is done for a job."""
        ...

    def drop(self, job_id: str) -> bool:
        """Forget a job and its files; false when it is not there."""
        ...

    def add_members(self, job_id: str, names: Sequence[tuple[str, str]]) -> None:
        """Note resources, by type and id, that a job is limited to; repeating changes nothing."""
        ...

    def members(self, job_id: str, kind: str, after: str, count: int) -> tuple[str, ...]:
        """Return ids of a type that a job is limited to, in their order, behind ``after``."""
        ...

    def since(self, moment: str) -> str:
        """Return the place in a search without an order before which nothing is so new."""
        ...

    def newest(self, kind: str, identity: str, at: int) -> int:
        """Return the newest version of a resource as of a cut; 0 when there is none."""
        ...
