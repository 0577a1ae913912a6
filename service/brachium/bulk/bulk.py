"""Export jobs: begun, looked up, deleted, and carried out one after the other."""

from __future__ import annotations

import logging
import secrets
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from brachium.bulk.carrying import Carrying, Stopped, Tools
from brachium.bulk.folders import Folders
from brachium.coding.periods import instant
from brachium.store.jobs import Job, JobState, NewJob
from brachium.store.port import StoreUnavailable

if TYPE_CHECKING:
    from brachium.bulk.wanted import Wanted
    from brachium.store.jobs import JobBook, OutputFile

FAILURES = logging.getLogger("brachium.failures")
# running jobs that one client may have
MOST_JOBS = 5
# times that a job may fail for want of database or disk before it is given up
PATIENCE = 10


@dataclass
class Bulk:
    """The export jobs of one service.

    ``clock`` returns the present as a FHIR instant; files are kept for ``hours`` after a job is
    done.
    """

    tools: Tools
    clock: Callable[[], str]
    hours: int = 24
    most: int = MOST_JOBS
    _failed: dict[str, int] = field(default_factory=dict)

    @property
    def jobs(self) -> JobBook:
        """The book of jobs."""
        return self.tools.jobs

    @property
    def folders(self) -> Folders:
        """Where the files are."""
        return self.tools.folders

    def begin(self, client: str, request: str, wanted: Wanted) -> Job | None:
        """Accept a job; ``None`` when the client has too many running."""
        new = NewJob(secrets.token_hex(24), client, request, wanted.text())
        return self.jobs.begin(new, self.clock(), self.most)

    def find(self, job_id: str, client: str) -> Job | None:
        """Return a job of a client; ``None`` for one of another, or past its expiry."""
        job = self.jobs.find(job_id)
        if job is None or job.client != client:
            return None
        return None if job.expires and job.expires <= self.clock() else job

    def file(self, job: Job, name: str) -> tuple[OutputFile, Path] | None:
        """Return a finished file of a job and where it is."""
        found = next((one for one in self.jobs.files(job.id) if one.name == name), None)
        return (found, self.folders.file(job.id, found.name)) if found else None

    def delete(self, job: Job) -> None:
        """Delete a job and its files, whether it is done or not."""
        self.jobs.drop(job.id)
        self.folders.remove(job.id)

    def work(self) -> bool:
        """Clear away what has expired, and carry the oldest running job out.

        False when there is nothing that can be done just now.
        """
        jobs = self._cleared()
        running = [one for one in jobs if one.state is JobState.RUNNING]
        if not running:
            return False
        # one that failed waits until the others had their turn
        return self._carry_out(
            min(running, key=lambda one: (self._failed.get(one.id, 0), one.begun))
        )

    def _cleared(self) -> tuple[Job, ...]:
        jobs, now = self.jobs.all(), self.clock()
        kept = []
        for job in jobs:
            if job.expires and job.expires <= now:
                self.delete(job)
            else:
                kept.append(job)
        for name in self.folders.strangers(one.id for one in kept):
            # it may belong to a job that was begun just now
            if self.jobs.find(name) is None:
                self.folders.remove(name)
        return tuple(kept)

    def _carry_out(self, job: Job) -> bool:
        try:
            carrying = Carrying(self.tools, job)
            # as the client was served when it asked
            with self.tools.serving(carrying.organization):
                carrying.carry_out()
        except Stopped:
            return True
        except (StoreUnavailable, OSError) as error:
            self._failed[job.id] = self._failed.get(job.id, 0) + 1
            _tell(job, error)
            if self._failed[job.id] < PATIENCE:
                return False
            self._end(job, JobState.FAILED)
        except Exception as error:  # noqa: BLE001 - whatever it is, the job is over and says so
            _tell(job, error)
            self._end(job, JobState.FAILED)
        else:
            self._end(job, JobState.COMPLETE)
        return True

    def _end(self, job: Job, state: JobState) -> None:
        self._failed.pop(job.id, None)
        now = self.clock()
        # told in a later run, should the database fail now
        with suppress(StoreUnavailable):
            self.jobs.end(job.id, state, now, _after(now, self.hours))

    def stopping_when(self, stopping: Callable[[], bool]) -> Bulk:
        """Return the same jobs, carried out until ``stopping`` says so."""
        return replace(self, tools=replace(self.tools, stopping=stopping))


def _tell(job: Job, error: Exception) -> None:
    # the id opens the files to its client, so no log holds all of it, nor what the error says
    place = traceback.extract_tb(error.__traceback__)[-1]
    where = f"{place.filename}:{place.lineno}"
    FAILURES.error("export %s: %s at %s", job.id[:8], type(error).__name__, where)


def _after(moment: str, hours: int) -> str:
    return instant(datetime.fromisoformat(moment).astimezone(UTC) + timedelta(hours=hours))
