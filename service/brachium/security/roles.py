"""The roles of clients, and what each can never be granted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from brachium.security.oauth import OAuthError
from brachium.security.scopes import LETTERS, Limits, Scopes, read_scopes

# who did what is for those who look after it, whatever a wildcard says
TRAIL = "AuditEvent"
READING = "rs"


@dataclass(frozen=True, slots=True)
class Role:
    """A role: who it is for, its limits, and the scopes of a client that names none."""

    words: str
    limits: Limits
    usual: str


ROLES: Mapping[str, Role] = {
    "clinic-app": Role(
        "an application that records, corrects and reads exams",
        Limits(frozenset({TRAIL}), LETTERS),
        "system/*.cruds",
    ),
    "engineer": Role(
        "an interface or a person who fetches coded data, and may post where granted",
        Limits(frozenset({TRAIL}), LETTERS),
        "system/*.rs",
    ),
    "auditor": Role(
        "reads everything, the audit trail too, and changes nothing",
        Limits(frozenset(), READING),
        "system/*.rs",
    ),
}


def held(role: str, scopes: str, organization: str = "") -> Scopes:
    """Return the scopes of a client within the limits of its role.

    The trail is one chain over everything, so a client of one organization never sees it.
    """
    limits = ROLES[role].limits
    if organization:
        limits = replace(limits, closed=limits.closed | {TRAIL})
    return read_scopes(scopes, limits)


def grantable(role: str, scopes: str, organization: str = "") -> Scopes:
    """Return scopes to be granted; invalid_scope for one that the client can never use."""
    found = held(role, scopes, organization)
    for part in found.parts:
        if not found.covers(part):
            of = " of an organization" if organization else ""
            told = f"The scope {part} is not for the role {role}{of}."
            raise OAuthError("invalid_scope", told)
    if not found.parts:
        raise OAuthError("invalid_scope", "No scope is granted.")
    return found
