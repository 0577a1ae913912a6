"""A service that clients can log in to, on a clock that tests move, and keys to log in with."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import httpx
from joserfc import jwt
from joserfc.jwk import ECKey, RSAKey
from tests.api.serving import BASE, Serving

from brachium.records import Client
from brachium.settings import Settings
from brachium.wiring import build

TOKEN_URL = f"{BASE}/auth/token"
ASSERTION_TYPE = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
BEGIN = 1_772_442_000


class Clock:
    """The time of the service, in seconds since 1970."""

    def __init__(self) -> None:
        self.now = BEGIN

    def __call__(self) -> str:
        return datetime.fromtimestamp(self.now, UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")


@cache
def ec_key(kid: str = "ec-1") -> ECKey:
    return ECKey.generate_key("P-384", {"kid": kid, "use": "sig", "alg": "ES384"})


@cache
def rsa_key(kid: str = "rsa-1") -> RSAKey:
    return RSAKey.generate_key(2048, {"kid": kid, "use": "sig", "alg": "RS384"})


def public(*keys: Any) -> bytes:
    return json.dumps({"keys": [key.as_dict(private=False) for key in keys]}).encode()


def claims(client: str = "app", **changed: Any) -> dict[str, Any]:
    """The claims of a good assertion with some changed; ``None`` leaves one out."""
    good = {
        "iss": client,
        "sub": client,
        "aud": TOKEN_URL,
        "exp": BEGIN + 240,
        "jti": uuid.uuid4().hex,
    }
    return {name: value for name, value in {**good, **changed}.items() if value is not None}


def signed(body: dict[str, Any], key: Any = None, **header: Any) -> str:
    key = key or ec_key()
    alg = "ES384" if isinstance(key, ECKey) else "RS384"
    head = {"alg": alg, "kid": key.kid, "typ": "JWT", **header}
    algorithms = [head["alg"]]
    return jwt.encode({k: v for k, v in head.items() if v}, body, key, algorithms=algorithms)


class Guarded(Serving):
    """A service with three clients: an app, a reader of observations, and an auditor."""

    def __init__(self, folder: Path, **changed: Any) -> None:
        self.clock = Clock()
        settings = Settings(database=folder / "guarded.sqlite3", public_base=BASE, **changed)
        super().__init__(settings.database, build(settings, self.clock))
        self.register("app", "clinic-app", "system/*.cruds")
        self.register("reader", "engineer", "system/Observation.rs")
        self.register("auditor", "auditor", "system/*.rs")

    def register(self, name: str, role: str, scopes: str, **more: Any) -> None:
        given = {"keys": public(ec_key(), rsa_key()), **more}
        added = Client(name, name, role, scopes, added=self.clock(), **given)
        assert self.parts.clients.add(added)

    def login(self, assertion: str | None = None, **fields: str) -> httpx.Response:
        """Ask for a token; a field that is empty is left out."""
        form = {
            "grant_type": "client_credentials",
            "client_assertion_type": ASSERTION_TYPE,
            "client_assertion": assertion or signed(claims(exp=self.clock.now + 240)),
            "scope": "system/*.rs",
            **fields,
        }
        data = {name: value for name, value in form.items() if value}
        return self.ask("POST", "/auth/token", data=data)

    def token(self, client: str = "app", scope: str = "system/*.cruds") -> str:
        assertion = signed(claims(client, exp=self.clock.now + 240))
        answer = self.login(assertion, scope=scope)
        assert answer.status_code == 200, answer.text
        return answer.json()["access_token"]

    def as_client(self, client: str = "app", scope: str = "system/*.cruds") -> dict[str, str]:
        """The header of a client that has logged in."""
        return {"Authorization": f"Bearer {self.token(client, scope)}"}
