"""``brachium demo``: every example over HTTP to the real service, and what came of it."""

from __future__ import annotations

import argparse
import socket
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from brachium.api.caution import CAUTION
from brachium.cli.account import Account, told
from brachium.cli.examples import Example, examples
from brachium.cli.serve import address
from brachium.cli.shown import FAULTY, OK, USAGE, complain, show
from brachium.settings import Settings

PATIENCE = 60.0
WIDTH = 88
BUNDLES = ("collection", "transaction", "document")


@dataclass(frozen=True, slots=True)
class Child:
    """The service under demonstration: where it listens, its process and its log."""

    base: str
    process: subprocess.Popen[bytes]
    log: Path

    def wait_until_ready(self) -> None:
        """Wait for /ready; ``RuntimeError`` when the service ends or takes too long."""
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            if self.process.poll() is not None:
                break
            try:
                if httpx.get(f"{self.base}/ready", timeout=2).is_success:
                    return
            except httpx.TransportError:
                time.sleep(0.1)
        raise RuntimeError(f"the service did not start; its log is {self.log}")


def run(asked: argparse.Namespace, settings: Settings) -> int:
    """Demonstrate; 0 only when every example behaved as it should."""
    out: Path = asked.out
    try:
        found = examples()
        (out / "bundles").mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        complain(str(fault))
        return USAGE
    show(textwrap.fill(CAUTION, WIDTH))
    show()
    with service(out, asked.port or _free_port(settings.host), settings.host) as child:
        accounts = list(posted(child, found, out / "bundles"))
    return conclusion(accounts, out)


@contextmanager
def service(out: Path, port: int, host: str) -> Iterator[Child]:
    """Run the service as a child on a new SQLite file in ``out`` until the block ends."""
    database, log = out / "demo.sqlite3", out / "service.log"
    for left in out.glob(f"{database.name}*"):
        left.unlink()
    command = [sys.executable, "-m", "brachium", "serve", "--host", host, "--port", str(port)]
    show(f"Starting the service on {address(host, port)} ...")
    with log.open("wb") as writing:
        process = subprocess.Popen(  # noqa: S603 - our own command line
            [*command, "--database", str(database)], stdout=writing, stderr=writing
        )
        child = Child(address(host, port), process, log)
        try:
            child.wait_until_ready()
            yield child
        finally:
            process.terminate()
            process.wait(timeout=PATIENCE)


def posted(child: Child, found: list[Example], folder: Path) -> Iterator[Account]:
    """Post every example, keep its bundles, and tell about it at once."""
    with httpx.Client(base_url=child.base, timeout=PATIENCE) as client:
        for place, example in enumerate(found, 1):
            account = _one(client, example, folder)
            show(f"[{place}/{len(found)}] {example.name}")
            for line in told(account):
                show(f"    {line}")
            yield account


def _one(client: httpx.Client, example: Example, folder: Path) -> Account:
    headers = {"Content-Type": "application/json"}
    answer = client.post("/exams", content=example.path.read_bytes(), headers=headers)
    body: dict[str, Any] = answer.json()
    if not answer.is_success:
        return Account(example, answer.status_code, body)
    kept = {}
    for kind in BUNDLES:
        bundle = client.get(f"/exams/{body['id']}/bundle", params={"type": kind})
        bundle.raise_for_status()
        kept[kind] = folder / f"{example.path.stem}.{kind}.json"
        kept[kind].write_bytes(bundle.content)
    return Account(example, answer.status_code, body, kept["collection"].read_bytes())


def conclusion(accounts: list[Account], out: Path) -> int:
    """Sum up, say how to go on, and return the exit code."""
    accepted = sum(account.accepted for account in accounts)
    astray = [account.example.name for account in accounts if not account.as_meant]
    show()
    refused = sum(account.refused for account in accounts)
    failed = len(accounts) - accepted - refused
    sums = f"{accepted} accepted, {refused} refused" + (f", {failed} failed" if failed else "")
    show(f"{sums}; bundles: {out / 'bundles'}")
    for name in astray:
        show(f"NOT AS MEANT: {name}")
    database = out / "demo.sqlite3"
    base = address("127.0.0.1", Settings().port)
    show(f"Go on with:  brachium serve --database {database}")
    show(f"then open:   {base}/docs (API page)  or  {base}/ (index)")
    return FAULTY if astray else OK


def _free_port(host: str) -> int:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.bind((host, 0))
        port: int = probe.getsockname()[1]
        return port
