"""``brachium clients``: who may log in, with which key, and what they may be granted."""

from __future__ import annotations

import argparse
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import orjson
from joserfc.jwk import ECKey

from brachium.cli.shown import FAULTY, OK, USAGE, complain, show
from brachium.exam.findings import Identifier
from brachium.records import Client
from brachium.security.keys import CURVE, UnfitKeys, public_only
from brachium.security.oauth import OAuthError
from brachium.security.roles import ROLES, grantable
from brachium.store.port import StoreUnavailable
from brachium.wiring import opened, utc_now

if TYPE_CHECKING:
    from collections.abc import Callable

    from joserfc.jwk import KeyParameters

    from brachium.settings import Settings
    from brachium.store.book import ClientBook

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_NAME = re.compile(r"[^\x00-\x1f\x7f]{1,100}")
_MOST_BYTES = 65_536


class Unfit(ValueError):
    """Something on the command line cannot be used; the text says what."""


@dataclass(frozen=True, slots=True)
class Keys:
    """The public keys of a client, or where they lie; the other is empty."""

    text: bytes = b""
    address: str = ""


def run(asked: argparse.Namespace, settings: Settings) -> int:
    """Carry one of the four actions out."""
    try:
        store = opened(settings)
    except StoreUnavailable as fault:
        complain(str(fault))
        return USAGE
    try:
        return _ACTIONS[asked.action](asked, store.clients)
    except (Unfit, UnfitKeys) as fault:
        complain(str(fault))
        return USAGE
    except OAuthError as fault:
        complain(fault.words)
        return USAGE
    finally:
        store.close()


def add(asked: argparse.Namespace, book: ClientBook) -> int:
    """Register a client."""
    if not _ID.fullmatch(asked.id):
        raise Unfit("the id of a client is letters, digits, dots, hyphens and underscores")
    if not _NAME.fullmatch(asked.name or asked.id):
        raise Unfit("the name of a client is a line of at most 100 characters")
    scopes = " ".join(asked.scope or ()) or ROLES[asked.role].usual
    organization = _organization(asked.organization)
    granted = str(grantable(asked.role, scopes, organization))
    if book.find(asked.id):
        return _taken()
    keys = _keys(asked)
    name = asked.name or asked.id
    client = Client(
        asked.id, name, asked.role, granted, organization, keys.text, keys.address, utc_now()
    )
    if not book.add(client):
        return _taken()
    show(f"{client.id} may log in as {client.role} and be granted: {granted}")
    return OK


def _organization(text: str) -> str:
    """Return an identifier that the facility of an exam may have, or nothing for none."""
    if not text:
        return ""
    system, _, value = text.partition("|")
    try:
        Identifier(system=system, value=value)
    except ValueError:
        raise Unfit("an organization is SYSTEM|VALUE, as exams identify their facility") from None
    return text


def _taken() -> int:
    complain("a client with this id is registered; a revoked id is never given again")
    return FAULTY


def list_all(_asked: argparse.Namespace, book: ClientBook) -> int:
    """Show every client, one a line, with tabs between the columns."""
    for one in book.all():
        state = f"revoked {one.revoked}" if one.revoked else "may log in"
        keys = one.keys_at or "keys held here"
        sees = one.organization or "every organization"
        show("\t".join((one.id, one.role, state, one.scopes, sees, keys, one.name)))
    return OK


def revoke(asked: argparse.Namespace, book: ClientBook) -> int:
    """Revoke a client; the tokens it has are dead at once."""
    if not book.revoke(asked.id, utc_now()):
        return _unknown()
    show(f"{asked.id} is revoked, and so is every token it was given")
    return OK


def rekey(asked: argparse.Namespace, book: ClientBook) -> int:
    """Replace the keys of a client."""
    found = book.find(asked.id)
    if found is None or found.revoked:
        return _unknown()
    keys = _keys(asked)
    if not book.rekey(asked.id, keys.text, keys.address, utc_now()):
        return _unknown()
    show(f"{asked.id} logs in with its new keys only")
    return OK


def _unknown() -> int:
    complain("no client with this id may log in")
    return FAULTY


_ACTIONS: dict[str, Callable[[argparse.Namespace, ClientBook], int]] = {
    "add": add,
    "list": list_all,
    "revoke": revoke,
    "keys": rekey,
}


def _keys(asked: argparse.Namespace) -> Keys:
    if asked.jwks_uri:
        return Keys(address=_address(asked.jwks_uri))
    if asked.jwks:
        try:
            with asked.jwks.open("rb") as file:
                return Keys(public_only(file.read(_MOST_BYTES)))
        except OSError as fault:
            raise Unfit(f"{asked.jwks}: {fault.strerror}") from None
    return Keys(_made(asked.id, asked.make_key))


def _address(text: str) -> str:
    parts = urlsplit(text)
    if parts.scheme != "https" or not parts.hostname or parts.username or parts.fragment:
        raise Unfit("the address of keys is an https address")
    return text


def _made(client: str, path: Path) -> bytes:
    """Write a new private key to a file that only its owner can read; return the public part."""
    stamp = re.sub(r"[^0-9]", "", utc_now())
    named: KeyParameters = {"kid": f"{client}-{stamp}", "use": "sig", "alg": "ES384"}
    key = ECKey.generate_key(CURVE, named)
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except OSError as fault:
        raise Unfit(f"{path}: {fault.strerror}") from None
    with os.fdopen(handle, "wb") as file:
        secret = {**key.as_dict(private=True), "key_ops": ["sign"]}
        file.write(orjson.dumps({"keys": [secret]}, option=orjson.OPT_INDENT_2) + b"\n")
    show(f"the private key lies in {path}: keep it secret, the service does not know it")
    return orjson.dumps({"keys": [{**key.as_dict(private=False), "key_ops": ["verify"]}]})


def add_arguments(made: argparse.ArgumentParser) -> None:
    """Describe the four actions to the parser."""
    actions = made.add_subparsers(dest="action", required=True, metavar="ACTION")
    adding = actions.add_parser("add", help="register a client", description="Register a client.")
    roles = "; ".join(f"{name}: {role.words}" for name, role in ROLES.items())
    adding.add_argument("id", metavar="ID", help="the client id, iss and sub of its assertions")
    adding.add_argument("--name", help="a name for people (default: the id)")
    adding.add_argument("--role", required=True, choices=tuple(ROLES), help=roles)
    adding.add_argument(
        "--scope", action="append", help="what it may be granted, such as system/*.rs; repeatable"
    )
    adding.add_argument(
        "--organization",
        default="",
        metavar="SYSTEM|VALUE",
        help="it stores and sees only exams whose facility this is (default: all exams)",
    )
    keys = actions.add_parser("keys", help="replace its keys", description="Replace the keys.")
    keys.add_argument("id", metavar="ID")
    for one in (adding, keys):
        which = one.add_mutually_exclusive_group(required=True)
        which.add_argument("--jwks", type=Path, metavar="FILE", help="its public keys, a JWK Set")
        which.add_argument("--jwks-uri", metavar="URL", help="https address of its public keys")
        which.add_argument(
            "--make-key", type=Path, metavar="FILE", help="make a key; the private part goes here"
        )
    ending = actions.add_parser("revoke", help="let it log in no more", description="Revoke it.")
    ending.add_argument("id", metavar="ID")
    listing = actions.add_parser("list", help="show all", description="Show all clients.")
    for one in (adding, keys, ending, listing):
        one.add_argument("--database", type=Path, help="SQLite file (default brachium.sqlite3)")
