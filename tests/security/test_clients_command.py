"""``brachium clients``, and the service that will not be reached unprotected."""

from __future__ import annotations

import json
import stat

import pytest
from joserfc.jwk import ECKey
from tests.security.logins import claims, ec_key, public, signed

from brachium.cli.parser import main
from brachium.security.keys import read_keys
from brachium.settings import Settings
from brachium.wiring import opened


@pytest.fixture
def database(tmp_path):
    return tmp_path / "exams.sqlite3"


@pytest.fixture
def clients(database):
    def run(*words: object) -> int:
        return main(["clients", *map(str, words), "--database", str(database)])

    return run


def held(database):
    store = opened(Settings(database=database))
    found = store.clients.all()
    store.close()
    return found


def test_a_client_gets_a_key_that_only_its_owner_can_read(clients, database, tmp_path, capsys):
    path = tmp_path / "app.jwks"
    assert clients("add", "app", "--role", "clinic-app", "--make-key", path) == 0
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    (secret,) = json.loads(path.read_bytes())["keys"]
    (client,) = held(database)
    assert (client.id, client.name, client.role) == ("app", "app", "clinic-app")
    assert client.scopes == "system/*.cruds"
    assert client.added
    (kid,) = read_keys(client.keys)
    assert kid == secret["kid"]
    assert secret["d"].encode() not in client.keys
    told = capsys.readouterr()
    assert secret["d"] not in told.out + told.err
    assert secret["key_ops"] == ["sign"]
    assert signed(claims("app"), ECKey.import_key(secret))


def test_sec_12_a_client_belongs_to_an_organization(clients, database, capsys):
    given = ("--role", "auditor", "--jwks-uri", "https://b.example.org/keys")
    assert clients("add", "b", *given, "--organization", "https://b.example.org/fid|B-1") == 0
    (client,) = held(database)
    assert client.organization == "https://b.example.org/fid|B-1"
    assert clients("add", "all", *given) == 0
    capsys.readouterr()
    assert clients("list") == 0
    listed = capsys.readouterr().out.splitlines()
    assert "every organization" in listed[0]
    assert "https://b.example.org/fid|B-1" in listed[1]


@pytest.mark.parametrize("organization", ["B-1", "|B-1", "https://b.example.org/fid|", "b|B-1"])
def test_sec_12_an_organization_is_a_system_and_a_value(clients, database, organization, capsys):
    given = ("--role", "auditor", "--jwks-uri", "https://b.example.org/keys")
    assert clients("add", "b", *given, "--organization", organization) == 2
    assert "SYSTEM|VALUE" in capsys.readouterr().err
    assert held(database) == ()


def test_sec_12_the_trail_is_not_for_one_organization(clients, capsys):
    given = ("--role", "auditor", "--jwks-uri", "https://b.example.org/keys")
    scope = ("--scope", "system/AuditEvent.rs")
    organization = ("--organization", "https://b.example.org/fid|B-1")
    assert clients("add", "b", *given, *scope, *organization) == 2
    assert "of an organization" in capsys.readouterr().err
    assert clients("add", "b", *given, *scope) == 0


def test_a_key_file_is_never_overwritten(clients, database, tmp_path):
    path = tmp_path / "app.jwks"
    path.write_text("mine")
    assert clients("add", "app", "--role", "auditor", "--make-key", path) == 2
    assert path.read_text() == "mine"
    assert held(database) == ()


def test_public_keys_are_taken_from_a_file_or_an_address(clients, database, tmp_path):
    path = tmp_path / "public.jwks"
    path.write_bytes(public(ec_key()))
    assert clients("add", "a", "--role", "engineer", "--jwks", path, "--name", "Ward A") == 0
    uri = "https://b.example.org/keys"
    scope = ("--scope", "system/Observation.rs", "--scope", "system/Patient.read")
    assert clients("add", "b", "--role", "engineer", *scope, "--jwks-uri", uri) == 0
    a, b = held(database)
    assert (a.name, a.scopes, a.keys_at) == ("Ward A", "system/*.rs", "")
    assert (b.scopes, b.keys, b.keys_at) == (
        "system/Observation.rs system/Patient.rs",
        b"",
        uri,
    )
    assert clients("keys", "a", "--jwks-uri", uri) == 0
    assert held(database)[0].keys_at == uri
    assert held(database)[0].keys == b""


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("a b", "--role", "engineer", "--jwks-uri", "https://x.example"), "id of a client"),
        (("-", "--role", "engineer", "--jwks-uri", "https://x.example"), "id of a client"),
        (("a", "--role", "engineer", "--jwks-uri", "http://x.example"), "https"),
        (("a", "--role", "engineer", "--jwks-uri", "https://u:p@x.example/"), "https"),
        (("a", "--role", "engineer", "--jwks", "nowhere.jwks"), "No such file"),
        (
            ("a", "--role", "auditor", "--scope", "system/*.cruds", "--jwks-uri", "https://x.ex"),
            "not for the role",
        ),
        (
            ("a", "--role", "engineer", "--scope", "system/*.sr", "--jwks-uri", "https://x.ex"),
            "order",
        ),
    ],
)
def test_what_cannot_be_registered_is_said(clients, database, capsys, words, told):
    assert clients("add", *words) == 2
    assert told in capsys.readouterr().err
    assert held(database) == ()


def test_a_private_key_is_not_registered(clients, database, tmp_path, capsys):
    path = tmp_path / "secret.jwks"
    secret = ec_key().as_dict(private=True)
    path.write_text(json.dumps({"keys": [secret]}))
    assert clients("add", "a", "--role", "engineer", "--jwks", path) == 2
    told = capsys.readouterr().err
    assert "private" in told
    assert secret["d"] not in told
    assert held(database) == ()


def test_a_revoked_client_stays_in_the_list_and_its_id_is_taken(clients, database, capsys):
    uri = ("--jwks-uri", "https://x.example.org/keys")
    assert clients("add", "a", "--role", "engineer", *uri) == 0
    assert clients("add", "a", "--role", "engineer", *uri) == 1
    assert clients("revoke", "a") == 0
    assert clients("revoke", "a") == 1
    assert clients("keys", "a", *uri) == 1
    assert clients("add", "a", "--role", "engineer", *uri) == 1
    capsys.readouterr()
    assert clients("list") == 0
    (line,) = capsys.readouterr().out.splitlines()
    assert line.split("\t")[:2] == ["a", "engineer"]
    assert "revoked" in line
    (client,) = held(database)
    assert client.revoked
