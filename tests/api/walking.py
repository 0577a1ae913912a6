"""Following ``next`` links to the end, and what writers do meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from tests.api.serving import example

Json = Any


def pages(get: Callable[[str], Json], address: str) -> Iterator[list[Json]]:
    """Yield the entries of each page; ``get`` returns the Bundle at an address."""
    while address:
        bundle = get(address)
        yield bundle.get("entry", [])
        following = [link["url"] for link in bundle["link"] if link["relation"] == "next"]
        address = following[0] if following else ""


def name(entry: Json) -> tuple[str, str]:
    """Return which version of which resource an entry holds."""
    return entry["fullUrl"], entry["resource"].get("meta", {}).get("versionId", "1")


class Writer:
    """Posts, corrects and withdraws exams; ``send(method, path, body, version)`` returns an id.

    The exams are those of one example under names of their own.
    """

    def __init__(self, send: Callable[[str, str, Json, int | None], str]) -> None:
        self._send = send
        self._exams: list[tuple[str, Json]] = []
        self._written = 0

    def post(self) -> None:
        """Post one more exam."""
        self._written += 1
        content = example("recovering-shoulder-2")
        content["identifier"]["value"] = f"WALK-{self._written}"
        self._exams.append((self._send("POST", "/exams", content, None), content))

    def disturb(self) -> None:
        """Post one exam; correct the oldest that is untouched and withdraw the next one."""
        self.post()
        if len(self._exams) < 3:
            return
        (identity, content), (other, _) = self._exams.pop(0), self._exams.pop(0)
        changed = {"reason": "Read again.", "exam": {**content, "note": "Read again."}}
        self._send("PUT", f"/exams/{identity}", changed, 1)
        self._send("POST", f"/exams/{other}/withdrawal", {"reason": "Wrong person."}, 1)
