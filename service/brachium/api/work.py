"""Where blocking work runs: beside the event loop, so that one commit never stops another request.

A plain executor rather than the framework's thread pool: it asks no limiter, which saves about 50
microseconds a request.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from functools import partial
from typing import TypeVar

T = TypeVar("T")


def _within(task: Callable[[], T]) -> Callable[[], T]:
    """Return a task for another thread that knows whose request it works for (``whose.py``)."""
    return partial(copy_context().run, task)


class Work:
    """A few threads; a commit waits for the disk in one while others compute.

    What writes has threads of its own: while the database is locked they may all wait, and reading
    goes on. So has the question whether anything can be written, which wants an answer just then,
    and the question who is calling, which every request asks first and long searches must not
    delay.
    """

    def __init__(self, threads: int = 4) -> None:
        self._readers = ThreadPoolExecutor(threads, thread_name_prefix="reading")
        self._writers = ThreadPoolExecutor(threads, thread_name_prefix="writing")
        self._probes = ThreadPoolExecutor(1, thread_name_prefix="probing")
        self._asking = ThreadPoolExecutor(1, thread_name_prefix="asking")

    async def run(self, task: Callable[[], T]) -> T:
        """Run a ``task`` that only reads; its result or exception arrives here."""
        return await asyncio.get_running_loop().run_in_executor(self._readers, _within(task))

    async def write(self, task: Callable[[], T]) -> T:
        """Run a ``task`` that may write; its result or exception arrives here."""
        return await asyncio.get_running_loop().run_in_executor(self._writers, _within(task))

    async def probe(self, task: Callable[[], T]) -> T:
        """Run a ``task`` that only asks how the store is; it never waits behind others' writing."""
        return await asyncio.get_running_loop().run_in_executor(self._probes, task)

    async def ask(self, task: Callable[[], T]) -> T:
        """Run a short ``task`` that looks up who is calling."""
        return await asyncio.get_running_loop().run_in_executor(self._asking, task)

    def close(self) -> None:
        """Wait for the work under way, then end the threads."""
        self._asking.shutdown()
        self._probes.shutdown()
        self._writers.shutdown()
        self._readers.shutdown()
