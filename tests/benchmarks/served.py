"""A service in a process of its own, on one core, and clients on another."""

from __future__ import annotations

import http.client
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

SERVER_CORE, CLIENT_CORE = 0, 1
CLIENTS = 4
_PINNED = (
    "import os, runpy, sys; hasattr(os, 'sched_setaffinity') and os.sched_setaffinity(0, {%d}); "
    "sys.argv = sys.argv[1:]; runpy.run_module(sys.argv[0], run_name='__main__', alter_sys=True)"
)


@dataclass(frozen=True)
class Served:
    """Where a service listens, and what its clients ask for."""

    port: int
    prefer: str = ""

    def post_all(self, bodies: Sequence[bytes]) -> float:
        """Post every body over a few kept connections; return the seconds it took."""
        lanes = [bodies[lane::CLIENTS] for lane in range(CLIENTS)]
        failed: list[str] = []
        threads = [threading.Thread(target=self._lane, args=(lane, failed)) for lane in lanes]
        start = time.perf_counter()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        if failed:
            raise RuntimeError(f"{len(failed)} posts failed, the first with {failed[0]}")
        return time.perf_counter() - start

    def _lane(self, bodies: Sequence[bytes], failed: list[str]) -> None:
        headers = {"Content-Type": "application/json"}
        if self.prefer:
            headers["Prefer"] = self.prefer
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        for body in bodies:
            connection.request("POST", "/exams", body, headers)
            answer = connection.getresponse()
            content = answer.read()
            if answer.status != http.HTTPStatus.CREATED or b'"Bundle"' not in content[:200]:
                failed.append(f"status {answer.status}")
        connection.close()


def pin(core: int) -> None:
    """Keep this process on one core where the system can."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {core})


@contextmanager
def served(module: str, *arguments: str, prefer: str = "", **environment: str) -> Iterator[Served]:
    """Run ``python -m module arguments --port P`` on the server's core until the block ends."""
    port = _free_port()
    command = [sys.executable, "-c", _PINNED % SERVER_CORE, module, *arguments]
    process = subprocess.Popen(
        [*command, "--port", str(port)],
        env={**os.environ, **environment},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for(port, process)
        yield Served(port, prefer)
    finally:
        process.terminate()
        process.wait(timeout=30)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_for(port: int, process: subprocess.Popen[bytes], seconds: float = 30) -> None:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline and process.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise RuntimeError("the service did not start to listen")
