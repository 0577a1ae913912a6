"""The whole application on a SQLite file, asked without a socket."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import httpx

from brachium.api.app import create_app
from brachium.settings import Settings
from brachium.wiring import Parts, build

ROOT = Path(__file__).resolve().parents[2]
BASE = "https://exams.example.org/arm"
FHIR_JSON = "application/fhir+json"


def raw_example(name: str) -> bytes:
    """An example as it lies in its folder."""
    return (ROOT / "examples" / f"{name}.json").read_bytes()


def example(name: str) -> dict[str, Any]:
    """An example to be changed."""
    return json.loads(raw_example(name))


def inside(url: str) -> str:
    """The path and query of a public address, as the application sees it behind a proxy."""
    assert url.startswith(BASE + "/"), url
    return url.removeprefix(BASE)


class Serving:
    """A client and the parts behind it; what a client calls is not the address it is told."""

    def __init__(self, database: Path, parts: Parts | None = None, **changed: Any) -> None:
        self.parts = parts or build(Settings(database=database, public_base=BASE, **changed))
        self.app = create_app(self.parts)
        self._runner = asyncio.Runner()

    def __enter__(self) -> Serving:
        return self

    def __exit__(self, *_: object) -> None:
        self._runner.close()
        self.parts.close()

    def ask(self, method: str, path: str, **options: Any) -> httpx.Response:
        """One request and its answer."""
        return self.together([(method, path, options)])[0]

    def together(self, requests: list[tuple[str, str, dict[str, Any]]]) -> list[httpx.Response]:
        """Many requests at the same time."""

        async def all_of_them() -> list[httpx.Response]:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://127.0.0.1:8321"
            ) as client:
                asked = (client.request(m, p, **options) for m, p, options in requests)
                return await asyncio.gather(*asked)

        return self._runner.run(all_of_them())

    def get(self, path: str, **headers: str) -> httpx.Response:
        """GET; header names are written with underscores."""
        return self.ask("GET", path, headers=_named(headers))

    def post(self, path: str, body: Any, **headers: str) -> httpx.Response:
        """POST of JSON or of raw bytes."""
        return self._send("POST", path, body, headers)

    def put(self, path: str, body: Any, **headers: str) -> httpx.Response:
        """PUT of JSON or of raw bytes."""
        return self._send("PUT", path, body, headers)

    def _send(self, method: str, path: str, body: Any, headers: dict[str, str]) -> httpx.Response:
        content = body if isinstance(body, bytes) else json.dumps(body).encode()
        given = {"Content-Type": "application/json", **_named(headers)}
        return self.ask(method, path, content=content, headers=given)


def _named(headers: dict[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}
