"""Sets of public keys (RFC 7517): which may be registered, and which one signed an assertion."""

from __future__ import annotations

from typing import Any

import orjson
from joserfc.errors import JoseError
from joserfc.jwk import ECKey, RSAKey, import_key

PublicKey = RSAKey | ECKey

MOST_KEYS = 20
RSA_BITS = 2048
CURVE = "P-384"
# members that only private and shared keys have (RFC 7518 6.2.2, 6.3.2, 6.4.1)
SECRET = frozenset({"d", "p", "q", "dp", "dq", "qi", "oth", "k"})


class UnfitKeys(ValueError):
    """A set of keys that cannot be used; the text says why and never shows a key."""


def read_keys(text: bytes) -> dict[str, tuple[PublicKey, ...]]:
    """Return the keys of a JWK Set by their kid; keys for other algorithms are left out.

    A kid with several keys keeps them all, so that whoever looks can tell.
    """
    found: dict[str, tuple[PublicKey, ...]] = {}
    for entry in _entries(text):
        kid = entry.get("kid")
        key = _key(entry)
        if key is not None and isinstance(kid, str) and kid:
            found[kid] = (*found.get(kid, ()), key)
    return found


def public_only(text: bytes) -> bytes:
    """Return a JWK Set to be registered, as it will be stored.

    Every key must be public, have a kid of its own, and be RSA of 2048 bits or EC on P-384.
    """
    entries = _entries(text)
    kids = [entry.get("kid") for entry in entries]
    for entry in entries:
        if SECRET & set(entry):
            raise UnfitKeys("a key is private or shared: register the public part only")
        if _key(entry) is None:
            raise UnfitKeys("a key is neither RSA with 2048 bits or more nor EC on P-384")
    if not all(isinstance(kid, str) and kid for kid in kids):
        raise UnfitKeys("a key has no kid")
    if len(set(kids)) != len(kids):
        raise UnfitKeys("two keys have the same kid")
    if not entries:
        raise UnfitKeys("there is no key in it")
    return orjson.dumps({"keys": entries})


def _entries(text: bytes) -> list[dict[str, Any]]:
    try:
        found = orjson.loads(text)
    except ValueError:
        raise UnfitKeys("the keys are not JSON") from None
    entries = found.get("keys") if isinstance(found, dict) else None
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise UnfitKeys('the keys are not a JWK Set: {"keys": [...]}')
    if len(entries) > MOST_KEYS:
        raise UnfitKeys(f"there are more than {MOST_KEYS} keys")
    return entries


def _key(entry: dict[str, Any]) -> PublicKey | None:
    """Return a key that can check RS384 or ES384, or ``None``."""
    if entry.get("use", "sig") != "sig" or SECRET & set(entry):
        return None
    try:
        key = import_key(entry)
    except (JoseError, ValueError, TypeError, KeyError):
        return None
    if isinstance(key, RSAKey) and key.raw_value.key_size >= RSA_BITS:
        return key
    if isinstance(key, ECKey) and key.curve_name == CURVE:
        return key
    return None
