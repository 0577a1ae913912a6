"""What can go wrong at the token endpoint (RFC 6749 5.2)."""

from __future__ import annotations

from typing import Literal

Code = Literal["invalid_request", "invalid_client", "unsupported_grant_type", "invalid_scope"]


class OAuthError(Exception):
    """A token request that is refused; ``words`` say why, name the claim, and may be shown.

    ``client`` is whom the request was about as far as that is known: a registered id, or empty.
    """

    def __init__(self, code: Code, words: str, client: str = "") -> None:
        super().__init__(code)
        self.code = code
        self.words = words
        self.client = client
