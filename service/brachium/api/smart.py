"""What a SMART client has to know before it can ask for a token (SMART 2.2 Conformance)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from brachium.api.access import letters_of
from brachium.api.login import GRANT, PATH
from brachium.security.assertion import ALGORITHMS
from brachium.security.scopes import LETTERS, OLDER_WORDS, Scope

if TYPE_CHECKING:
    from brachium.settings import Settings

WELL_KNOWN = "/fhir/.well-known/smart-configuration"
_SERVICES = "http://terminology.hl7.org/CodeSystem/restful-security-service"


def configuration(base: str, served: Mapping[str, Iterable[str]]) -> dict[str, Any]:
    """Return the SMART configuration; ``served`` gives the interactions of each type.

    There is no authorization endpoint, so the methods of its code challenge are moot; the
    member is required and says what such an endpoint would have to take.
    """
    return {
        "token_endpoint": base + PATH,
        "grant_types_supported": [GRANT],
        "token_endpoint_auth_methods_supported": ["private_key_jwt"],
        "token_endpoint_auth_signing_alg_values_supported": list(ALGORITHMS),
        "scopes_supported": list(scopes(served)),
        "code_challenge_methods_supported": ["S256"],
        "capabilities": ["client-confidential-asymmetric", "permission-v2", "permission-v1"],
    }


def scopes(served: Mapping[str, Iterable[str]]) -> Iterable[str]:
    """Yield the scopes that do something here, in the words of both versions."""
    letters = {kind: letters_of(kind, known) for kind, known in served.items()}
    every = "".join(x for x in LETTERS if any(x in found for found in letters.values()))
    yield str(Scope("*", every))
    yield "system/*.read"
    for kind, found in letters.items():
        yield str(Scope(kind, found))
        yield from (f"system/{kind}.{word}" for word in _older(found))


def _older(letters: str) -> Iterable[str]:
    return (word for word in ("read",) if set(OLDER_WORDS[word]) <= set(letters))


def security(settings: Settings) -> dict[str, Any]:
    """Return CapabilityStatement.rest.security; the addresses are in the SMART configuration."""
    coding = {"system": _SERVICES, "code": "SMART-on-FHIR", "display": "SMART-on-FHIR"}
    return {
        "cors": settings.origins is not None,
        "service": [{"coding": [coding], "text": "SMART Backend Services"}],
        "description": "Every request needs an access token of a registered client. Before the "
        "first client is registered, callers on the machine of the service need none, and others "
        "are refused.",
    }
