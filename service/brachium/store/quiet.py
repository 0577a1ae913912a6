"""Fills the indexes when nobody has written for a moment, so that nobody has to wait for it."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from threading import Event, Thread

from brachium.store.commits import SharedCommits
from brachium.store.index import Index
from brachium.store.port import StoreUnavailable

# seconds without a write that count as quiet
PAUSE = 0.1
# blocks at a time; who comes to write meanwhile waits for about 30 ms
_SLICE = 8


class QuietTime:
    """One thread that sleeps until something was written and then until it is quiet."""

    def __init__(self, commits: SharedCommits, index: Index) -> None:
        self._commits = commits
        self._index = index
        self._written = Event()
        self._closing = False
        self._thread = Thread(target=self._watch, name="brachium-index", daemon=True)
        self._thread.start()

    def written(self) -> None:
        """Say that something was written."""
        self._written.set()

    def close(self) -> None:
        """End the thread; what waits is entered when the store is used again."""
        self._closing = True
        self._written.set()
        self._thread.join()

    def _watch(self) -> None:
        while True:
            self._written.wait()
            self._written.clear()
            if self._closing:
                return
            if not self._written.wait(PAUSE):
                # who writes next is told that the database fails; nobody listens here
                with suppress(StoreUnavailable):
                    self._fill()

    def _fill(self) -> None:
        while self._commits.run(self._enter_slice) and not self._written.is_set():
            pass

    def _enter_slice(self, db: sqlite3.Connection) -> bool:
        return self._index.enter(db, _SLICE)
