"""smart-fetch as it comes, with a key of its own: everything, and then exactly what changed."""

from __future__ import annotations

import json
import subprocess
import time
import uuid

import httpx
import pytest
from tests.api.serving import example
from tests.bulk.fetching import Fetcher, FetcherUnavailableError
from tests.cli.test_serve import Running
from tests.conftest import _missing
from tests.security.logins import ASSERTION_TYPE, ec_key, public, signed

from brachium.settings import Settings
from brachium.wiring import opened

TYPES = ("Patient", "DiagnosticReport", "Observation")
ONLY = ("--type", ",".join(TYPES))
JSON = {"Content-Type": "application/json"}


class Site:
    """A service with exams, a client that fetches and an app that goes on recording."""

    def __init__(self, folder) -> None:
        self.fetcher = Fetcher(folder, "fetcher")
        self.service = Running(folder)
        self.receipts = [self.post(name) for name in ("stiff-shoulder", "elbow-after-fracture")]
        keys = folder / "app.jwks"
        keys.write_bytes(public(ec_key()))
        self._register("fetcher", "engineer", self.fetcher.public)
        self._register("app", "clinic-app", keys)
        self._headers = {"Authorization": f"Bearer {self._token()}"}

    def _register(self, name: str, role: str, keys) -> None:
        command = ["brachium", "clients", "add", name, "--role", role, "--jwks", str(keys)]
        command += ["--database", str(self.service.database)]
        module = [self.service.process.args[0], "-m", *command]
        subprocess.run(module, check=True, capture_output=True, timeout=60)

    def _token(self) -> str:
        url = f"{self.service.base}/auth/token"
        now = int(time.time())
        claims = {"iss": "app", "sub": "app", "aud": url, "exp": now + 240, "jti": uuid.uuid4().hex}
        form = {
            "grant_type": "client_credentials",
            "client_assertion_type": ASSERTION_TYPE,
            "client_assertion": signed(claims),
            "scope": "system/*.cruds",
        }
        return httpx.post(url, data=form, timeout=20).json()["access_token"]

    def post(self, name: str, **headers: str) -> dict:
        url = f"{self.service.base}/exams"
        exam = json.dumps(example(name)).encode()
        answer = httpx.post(url, content=exam, headers={**JSON, **headers}, timeout=20)
        assert answer.status_code == 201, answer.text
        return answer.json()

    def go_on(self) -> None:
        """Record an exam of a new patient, and withdraw one."""
        self.post("draft", **self._headers)
        url = f"{self.service.base}/exams/{self.receipts[0]['id']}/withdrawal"
        headers = {**JSON, **self._headers, "If-Match": 'W/"1"'}
        answer = httpx.post(url, content=b'{"reason":"wrong person"}', headers=headers, timeout=20)
        assert answer.status_code == 200, answer.text

    def stored(self) -> dict[tuple[str, str], dict]:
        """What the database holds of the types that are fetched."""
        store = opened(Settings(database=self.service.database))
        rows = store.history(None).rows
        store.close()
        return {
            (row.type, row.id): json.loads(row.text) for row in reversed(rows) if row.type in TYPES
        }


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    try:
        made = Site(tmp_path_factory.mktemp("site"))
    except FetcherUnavailableError as error:
        _missing(str(error))
        raise
    yield made
    made.service.stop()


def fetched(folder) -> dict[tuple[str, str], dict]:
    """What the client wrote into one of its folders; nothing may be there twice."""
    found = {}
    for path in sorted(folder.glob("*.ndjson")):
        if path.name.split(".")[0] not in TYPES:
            continue
        for line in path.read_text().splitlines():
            one = json.loads(line)
            key = (one["resourceType"], one["id"])
            assert key not in found, key
            found[key] = one
    return found


def test_smart_fetch_brings_everything_and_then_exactly_what_changed(site, tmp_path):
    base, run = site.service.base, site.fetcher.run
    first = site.stored()
    assert len(first) > 100
    for mode in ("bulk", "crawl"):
        run(base, mode, tmp_path / mode, "--nickname", "first", *ONLY)
        assert fetched(tmp_path / mode / "001.first") == first, mode
    site.go_on()
    second = site.stored()
    changed = {key: one for key, one in second.items() if first.get(key) != one}
    withdrawn = [one for one in changed.values() if one.get("status") == "entered-in-error"]
    assert len(withdrawn) > 10
    assert len(changed) > len(withdrawn)
    since = ("--since", "auto")
    run(base, "bulk", tmp_path / "bulk", "--nickname", "second", *since, *ONLY)
    assert fetched(tmp_path / "bulk" / "002.second") == changed
    # a crawl looks among the patients that it knows, so they come first
    for nickname, kinds in (("patients", TYPES[:1]), ("second", TYPES[1:])):
        only = ("--nickname", nickname, "--type", ",".join(kinds))
        run(base, "crawl", tmp_path / "crawl", *since, *only)
    brought = fetched(tmp_path / "crawl" / "003.second")
    assert brought == {key: one for key, one in changed.items() if key[0] != "Patient"}
    patients = fetched(tmp_path / "crawl" / "002.patients")
    assert {key for key in changed if key[0] == "Patient"} <= set(patients)


def test_smart_fetch_asks_for_every_type_and_gets_what_is_stored(site, tmp_path):
    said = site.fetcher.run(site.service.base, "bulk", tmp_path / "all", "--nickname", "all")
    assert "Done" in said
    assert fetched(tmp_path / "all" / "001.all") == site.stored()
    # it has deleted its export behind itself
    folder = site.service.database.with_name(f"{site.service.database.name}.exports")
    assert [path.name for path in folder.iterdir()] == ["lock"]
