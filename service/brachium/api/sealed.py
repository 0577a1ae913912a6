"""Links that say nothing: what a page needs to know, compressed and sealed (AES-256-GCM).

A link can be kept, logged and guessed at by others than the client it was made for. A sealed one
holds no patient identifier, cannot be altered, and works as long as the key is the same.
"""

from __future__ import annotations

import hashlib
import secrets
import zlib
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable
from functools import cached_property
from typing import Any

import orjson
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

_NONCE, _NAME = 12, 4
# what a token may unfold to; the search in it was read from a request once
_MOST = 1 << 20


class Altered(ValueError):
    """The token was not made here, or is not what was made."""


class OtherKey(ValueError):
    """The token was made with another key."""


class Seal:
    """Seals and opens; ``purpose`` keeps the tokens of one use from another.

    ``key`` returns 32 bytes, the same every time, and is asked when the first token is needed.
    """

    def __init__(self, key: Callable[[], bytes]) -> None:
        self._key = key

    @cached_property
    def _cipher(self) -> AESGCM:
        return AESGCM(self._key())

    @cached_property
    def _name(self) -> bytes:
        return hashlib.sha256(self._key()).digest()[:_NAME]

    def seal(self, content: Any, purpose: str) -> str:  # noqa: ANN401 - JSON
        """Return a token of letters, digits, hyphens and underscores."""
        nonce = secrets.token_bytes(_NONCE)
        packed = zlib.compress(orjson.dumps(content), 9)
        sealed = self._cipher.encrypt(nonce, packed, purpose.encode())
        return urlsafe_b64encode(self._name + nonce + sealed).rstrip(b"=").decode()

    def open(self, token: str, purpose: str) -> Any:  # noqa: ANN401 - JSON
        """Return the content; :class:`OtherKey` or :class:`Altered` when there is none."""
        try:
            raw = urlsafe_b64decode(token + "=" * (-len(token) % 4))
        except ValueError:
            raise Altered from None
        if not raw.startswith(self._name):
            raise OtherKey
        nonce, sealed = raw[_NAME : _NAME + _NONCE], raw[_NAME + _NONCE :]
        try:
            packed = self._cipher.decrypt(nonce, sealed, purpose.encode())
        except (InvalidTag, ValueError):
            raise Altered from None
        return orjson.loads(zlib.decompressobj().decompress(packed, _MOST))
