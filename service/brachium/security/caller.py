"""Who is asking."""

from __future__ import annotations

from dataclasses import dataclass

from brachium.security.scopes import EVERYTHING, Scopes


@dataclass(frozen=True, slots=True)
class Caller:
    """The client behind a request and what its access token allows.

    ``client`` is the registered id, empty for whoever is on this machine while no client is
    registered; ``jti`` names the access token without being of any use as one. ``organization`` is
    the identifier, ``system|value``, of the one organization whose exams it sees, or empty.
    """

    client: str
    role: str
    scopes: Scopes
    jti: str
    organization: str = ""


# while no client is registered: whoever reaches a loopback address
ON_THIS_MACHINE = Caller("", "", EVERYTHING, "")
