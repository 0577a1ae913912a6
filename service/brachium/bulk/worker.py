"""The thread that carries jobs out beside the service, one at a time.

Several processes may share the database; whoever holds the lock on a file in the folder of the
exports works, and the system gives it back when the process ends, however it ends.
"""

from __future__ import annotations

import os
import sys
from threading import Event, Thread
from typing import TYPE_CHECKING

from brachium.store.port import StoreUnavailable

if TYPE_CHECKING:
    from brachium.bulk.bulk import Bulk

# seconds between two looks at what has expired, and at what another process was asked for
IDLE = 5.0
_AFTER_FAILURE = 1.0


class Worker:
    """One thread; it sleeps until a job was begun."""

    def __init__(self, bulk: Bulk) -> None:
        self._wake = Event()
        self._closing = Event()
        self.bulk = bulk.stopping_when(self._closing.is_set)
        self._thread = Thread(target=self._run, name="brachium-export", daemon=True)

    def start(self) -> None:
        """Begin to work, with what an earlier run has left first."""
        self._thread.start()

    def begun(self) -> None:
        """Say that a job was begun."""
        self._wake.set()

    def close(self) -> None:
        """End the thread within a page of its work; a job that runs goes on with the next run."""
        self._closing.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        lock: int | None = None
        while not self._closing.is_set():
            self._wake.clear()
            try:
                if lock is None and self.bulk.jobs.all():
                    lock = _locked(str(self.bulk.folders.made() / "lock"))
                if lock is not None and self.bulk.work():
                    continue
            except (StoreUnavailable, OSError):
                # told where somebody listens; here it is tried again
                self._closing.wait(_AFTER_FAILURE)
                continue
            self._wake.wait(IDLE)
        if lock is not None:
            os.close(lock)


def _locked(path: str) -> int | None:
    """Return the open file when nobody else holds the lock on it."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    if sys.platform == "win32":
        return descriptor
    import fcntl

    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(descriptor)
        return None
    return descriptor
