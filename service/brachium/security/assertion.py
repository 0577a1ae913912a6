"""The signed assertion a client logs in with (SMART 2.2 client-confidential-asymmetric, RFC 7523).

Read in two steps: :func:`glance` tells who it claims to be from, so that the keys of that client
can be fetched; :func:`prove` checks the signature and every claim. Times are seconds since 1970.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from typing import Any, NamedTuple

import orjson
from joserfc import jwt
from joserfc.errors import JoseError

from brachium.security.keys import PublicKey
from brachium.security.oauth import OAuthError

ALGORITHMS = ("RS384", "ES384")
# how far clocks may differ, and how far ahead an assertion may expire (SMART 2.2)
SKEW = 60
LONGEST = 300
LONGEST_TEXT = 8192
LONGEST_JTI = 255


class Glance(NamedTuple):
    """What an assertion says before anything is proven."""

    client: str
    kid: str
    jku: str | None


class Proven(NamedTuple):
    """A proven assertion: its jti must not be taken again before ``until``."""

    client: str
    jti: str
    until: int


def refused(words: str, client: str = "") -> OAuthError:
    """Return the error for an assertion that proves nothing."""
    return OAuthError("invalid_client", words, client)


def glance(text: str) -> Glance:
    """Return who an assertion claims to be from and which key it names."""
    if len(text) > LONGEST_TEXT:
        raise refused(f"The assertion is longer than {LONGEST_TEXT} characters.")
    parts = text.split(".")
    if len(parts) != len(("header", "claims", "signature")):
        raise refused("The assertion is not a signed JWT of three parts.")
    head, claims = _decoded(parts[0], "header"), _decoded(parts[1], "claims")
    if head.get("alg") not in ALGORITHMS:
        raise refused("The header alg is not RS384 or ES384.")
    if not _is_text(head.get("kid")):
        raise refused("The header kid is missing.")
    for name in ("iss", "sub"):
        if not _is_text(claims.get(name)):
            raise refused(f"The claim {name} is missing.")
    if claims["iss"] != claims["sub"]:
        raise refused("The claims iss and sub differ: both are the client id.")
    jku = head.get("jku")
    return Glance(claims["iss"], head["kid"], None if jku is None else str(jku))


def prove(
    text: str, seen: Glance, keys: Mapping[str, tuple[PublicKey, ...]], audience: str, now: int
) -> Proven:
    """Check signature and claims of a glanced assertion; ``audience`` is the token address."""
    matching = keys.get(seen.kid, ())
    if len(matching) != 1:
        why = "names several keys" if matching else "names no key"
        raise refused(f"The header kid {why} of this client.", seen.client)
    try:
        claims = jwt.decode(text, matching[0], algorithms=list(ALGORITHMS)).claims
    except (JoseError, ValueError):
        raise refused("The signature is not by the key that kid names.", seen.client) from None
    fault = _fault(claims, audience, now)
    if fault:
        raise refused(fault, seen.client)
    return Proven(seen.client, claims["jti"], int(claims["exp"]) + SKEW + 1)


def _fault(claims: Mapping[str, Any], audience: str, now: int) -> str | None:
    aud = claims.get("aud")
    if aud is None:
        return "The claim aud is missing."
    if aud not in (audience, [audience]):
        return f"The claim aud is not {audience}."
    return _untimely(claims, now) or _unfit_jti(claims.get("jti"))


def _untimely(claims: Mapping[str, Any], now: int) -> str | None:
    if "exp" not in claims:
        return "The claim exp is missing."
    for name in ("exp", "iat", "nbf"):
        if name in claims and not _is_time(claims[name]):
            return f"The claim {name} is not a number of seconds."
    if claims["exp"] + SKEW <= now:
        return "The claim exp has passed: the assertion is expired."
    if claims["exp"] > now + LONGEST + SKEW:
        return f"The claim exp is more than {LONGEST} seconds ahead."
    for name in ("iat", "nbf"):
        if claims.get(name, now) > now + SKEW:
            return f"The claim {name} lies in the future."
    return None


def _unfit_jti(jti: object) -> str | None:
    if not isinstance(jti, str) or not jti:
        return "The claim jti is missing."
    return f"The claim jti is longer than {LONGEST_JTI}." if len(jti) > LONGEST_JTI else None


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value)


def _is_time(value: object) -> bool:
    # true is a number to Python; no clock shows a year beyond four digits
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value < 1e12


def _decoded(part: str, name: str) -> dict[str, Any]:
    try:
        found = orjson.loads(base64.urlsafe_b64decode(part + "=" * (-len(part) % 4)))
    except (ValueError, binascii.Error):
        found = None
    if not isinstance(found, dict):
        raise refused(f"The {name} of the assertion cannot be read.")
    return found
