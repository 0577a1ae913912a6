"""The digest that travels with a bundle (RFC 9530, Digest Fields)."""

from __future__ import annotations

import base64
import hashlib


def content_digest(body: bytes) -> str:
    """Return the value of a Content-Digest header for ``body``: sha-256, base64 (RFC 9530, 2)."""
    coded = base64.b64encode(hashlib.sha256(body).digest()).decode()
    return f"sha-256=:{coded}:"
