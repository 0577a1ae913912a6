"""Signing the end of the audit trail, so that it can be kept elsewhere (matrix AUD-12).

A signed head is a compact JWS (RFC 7515) with ES256 over number, hash and time of the last entry.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import orjson
from joserfc import jws
from joserfc.errors import JoseError
from joserfc.jwk import ECKey

from brachium.records import AuditHead

ALGORITHM, CURVE = "ES256", "P-256"


def new_key() -> bytes:
    """Return a new private key as JWK text."""
    key = ECKey.generate_key(CURVE, {"use": "sig", "alg": ALGORITHM})
    return orjson.dumps(key.as_dict(private=True), option=orjson.OPT_INDENT_2) + b"\n"


def read_key(text: bytes) -> ECKey:
    """Return the key of its JWK text, private or public; ``ValueError`` for anything else."""
    try:
        return ECKey.import_key(orjson.loads(text))
    except (JoseError, ValueError, TypeError, KeyError):
        raise ValueError("this is no key on the curve P-256") from None


def public_part(key: ECKey) -> dict[str, Any]:
    """Return what may be told of a key, by which a head is checked."""
    return dict(key.as_dict(private=False))


def signed(head: AuditHead, key: ECKey) -> AuditHead:
    """Return a head with our signature."""
    signature = jws.serialize_compact({"alg": ALGORITHM}, _payload(head), key)
    return replace(head, signature=signature)


def is_signed(head: AuditHead, key: ECKey) -> bool:
    """Tell whether the signature of a head is ours and says what the head says."""
    try:
        found = jws.deserialize_compact(head.signature, key, [ALGORITHM])
    except (JoseError, ValueError, TypeError):
        return False
    return bytes(found.payload) == _payload(head)


def _payload(head: AuditHead) -> bytes:
    members = {"number": head.number, "hash": head.hash, "at": head.at}
    return orjson.dumps(members, option=orjson.OPT_SORT_KEYS)
