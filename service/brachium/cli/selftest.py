"""``brachium selftest URL``: an acceptance run against a service, and a table of what held."""

from __future__ import annotations

import argparse
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx

from brachium.cli.selftest_steps import STEPS, Run, Seen
from brachium.cli.shown import FAULTY, OK, USAGE, complain, show

if TYPE_CHECKING:
    from brachium.settings import Settings

PATIENCE = 30.0
# what an answer lacks or has in another form than the steps read
_UNREADABLE = (LookupError, TypeError, ValueError, AttributeError)


def run(asked: argparse.Namespace, _settings: Settings) -> int:
    """Carry out every step; 0 when all of it held, 2 when the service cannot be reached."""
    headers = {"Authorization": f"Bearer {_token(asked.token)}"} if asked.token else {}
    try:
        with httpx.Client(base_url=asked.url, timeout=PATIENCE, headers=headers) as client:
            seen = list(_told(Run(client, _exam(client))))
    except httpx.HTTPError as fault:
        complain(f"{asked.url}: {type(fault).__name__}")
        return USAGE
    failed = sum(not one.held for one in seen)
    show()
    show(f"{len(seen) - failed} held, {failed} did not")
    return FAULTY if failed else OK


def _token(path: Path) -> str:
    return path.read_text(encoding="ascii").strip()


def _exam(client: httpx.Client) -> dict[str, Any]:
    """The service's own sample, under names that nobody else has."""
    document = client.get("/openapi.json").raise_for_status().json()
    body = document["paths"]["/exams"]["post"]["requestBody"]["content"]["application/json"]
    exam: dict[str, Any] = next(iter(body["examples"].values()))["value"]
    name = f"selftest-{uuid.uuid4()}"
    exam["identifier"]["value"] = exam["patient"]["identifier"]["value"] = name
    return exam


def _told(run: Run) -> Iterator[Seen]:
    for step in STEPS:
        for one in _carried_out(step.__name__, step(run)):
            mark = "held  " if one.held else "FAILED"
            show(f"{mark}  {one.step}" + ("" if one.held else f": {one.seen}, not {one.expected}"))
            yield one


def _carried_out(name: str, seen: Iterator[Seen]) -> Iterator[Seen]:
    """Yield what a step saw; an answer that it cannot read is a failure of the service."""
    try:
        yield from seen
    except _UNREADABLE as fault:
        yield Seen(name.replace("_", " "), "an answer that can be read", type(fault).__name__)
