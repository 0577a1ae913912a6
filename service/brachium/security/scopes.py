"""SMART scopes: what one says, and whether a set of them allows something.

A scope is ``system/TYPE.LETTERS`` (SMART App Launch 2.2, Scopes): letters from ``cruds`` in this
order. The older words are read as what they mean there: ``read`` as ``rs``, ``write`` as ``cud``
and ``*`` as ``cruds``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from brachium.security.oauth import OAuthError

LETTERS = "cruds"
ANY = "*"
OLDER_WORDS = {"read": "rs", "write": "cud", "*": "cruds"}
_SCOPE = re.compile(r"system/(\*|[A-Z][A-Za-z]{1,63})\.(c?r?u?d?s?|read|write|\*)")
# what can be shown again in an answer: the characters of RFC 6749 3.3
_SHOWN = re.compile(r"[\x21\x23-\x5b\x5d-\x7e]{1,100}")


@dataclass(frozen=True, slots=True)
class Scope:
    """One scope: a resource type or ``*``, and letters in the order of :data:`LETTERS`."""

    type: str
    letters: str

    def __str__(self) -> str:
        return f"system/{self.type}.{self.letters}"


@dataclass(frozen=True, slots=True)
class Limits:
    """What no scope can give: types that stay closed, and letters that are never allowed."""

    closed: frozenset[str] = frozenset()
    letters: str = LETTERS


NO_LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Scopes:
    """Several scopes together, within the limits of a role."""

    parts: tuple[Scope, ...] = ()
    limits: Limits = field(default=NO_LIMITS)

    def allows(self, resource_type: str, letter: str) -> bool:
        """Tell whether one interaction with one type is allowed; ``*`` asks for every type."""
        if resource_type in self.limits.closed or letter not in self.limits.letters:
            return False
        return any(
            part.type in (ANY, resource_type) and letter in part.letters for part in self.parts
        )

    def covers(self, scope: Scope) -> bool:
        """Tell whether everything that a scope says is allowed by these."""
        return all(self.allows(scope.type, letter) for letter in scope.letters)

    def missing(self, needed: Iterable[Scope]) -> tuple[Scope, ...]:
        """Return what is needed and not allowed, with only the letters that are missing."""
        found = []
        for one in needed:
            letters = "".join(x for x in one.letters if not self.allows(one.type, x))
            if letters:
                found.append(Scope(one.type, letters))
        return tuple(found)

    def __str__(self) -> str:
        return " ".join(str(part) for part in self.parts)


EVERYTHING = Scopes((Scope(ANY, LETTERS),))


def read_scope(text: str) -> Scope:
    """Return a scope; :class:`OAuthError` invalid_scope says what is wrong with it."""
    found = _SCOPE.fullmatch(text)
    if found is None or not found[2]:
        raise OAuthError("invalid_scope", f"The scope {shown(text)} {_fault(text)}.")
    return Scope(found[1], OLDER_WORDS.get(found[2], found[2]))


def read_scopes(text: str, limits: Limits = NO_LIMITS) -> Scopes:
    """Return the scopes in a text with spaces between them; raises as :func:`read_scope`."""
    return Scopes(tuple(read_scope(one) for one in dict.fromkeys(text.split())), limits)


def requested(text: str, held: Scopes) -> str:
    """Return the scopes of a token request, as they were asked for and each once.

    None, one that cannot be read or one beyond what is held is invalid_scope (RFC 6749 5.2).
    """
    names = tuple(dict.fromkeys(text.split()))
    if not names:
        raise OAuthError("invalid_scope", "The parameter scope is missing.")
    for name in names:
        if not held.covers(read_scope(name)):
            told = f"The scope {shown(name)} is beyond what this client was granted."
            raise OAuthError("invalid_scope", told)
    return " ".join(names)


def shown(text: str) -> str:
    """Return a text of a client when it may stand in an answer, else a stand-in."""
    return text if _SHOWN.fullmatch(text) else "with unreadable characters"


def _fault(text: str) -> str:
    context, _, rest = text.partition("/")
    if not rest or context != "system":
        return "is not served: only system/ scopes are"
    if "?" in rest:
        return "has a query, which is not supported"
    letters = rest.rpartition(".")[2]
    if letters and set(letters) <= set(LETTERS):
        return f"has its letters not in the order {LETTERS}, or one twice"
    return "is not of the form system/TYPE.LETTERS"
