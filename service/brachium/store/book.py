"""What a book of clients promises: who may log in, which assertions are spent, which tokens live.

Times are seconds since 1970, except ``added`` and ``revoked``, which are FHIR instants.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

if TYPE_CHECKING:
    from brachium.records import Client


class Spent(NamedTuple):
    """An assertion that has been used: its jti is taken until ``until``."""

    client: str
    jti: str
    until: int


class NewToken(NamedTuple):
    """An access token to be kept: the SHA-256 of it, never the token itself."""

    digest: bytes
    name: str
    scopes: str
    expires: int


class LiveToken(NamedTuple):
    """What the book knows of an access token whose client is not revoked.

    It may have expired: ``expires`` says so.
    """

    client: str
    role: str
    organization: str
    name: str
    scopes: str
    expires: int


class ClientBook(Protocol):
    """Registered clients and their tokens; every method may raise ``StoreUnavailable``."""

    def protected(self) -> bool:
        """Tell whether any client was ever registered, revoked ones too."""
        ...

    def add(self, client: Client) -> bool:
        """Register a client; false when the id is taken, revoked ones included."""
        ...

    def find(self, client_id: str) -> Client | None:
        """Return a client, revoked or not."""
        ...

    def all(self) -> tuple[Client, ...]:
        """Return every client, revoked ones too, in the order of their ids."""
        ...

    def revoke(self, client_id: str, at: str) -> bool:
        """Revoke a client: from now on it gets no token and those it has are dead."""
        ...

    def rekey(self, client_id: str, keys: bytes, keys_at: str, at: str) -> bool:
        """Replace the keys of a client that is not revoked; one of the two is empty.

        ``at`` is a FHIR instant, for the audit.
        """
        ...

    def spend(self, spent: Spent, now: int, token: NewToken | None) -> bool:
        """Use an assertion and keep the token given for it, in one transaction.

        False, and nothing kept, when the jti was used before or the client is revoked.
        """
        ...

    def token(self, digest: bytes) -> LiveToken | None:
        """Return the token with this digest, unless it is unknown or its client revoked."""
        ...
