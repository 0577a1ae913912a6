"""Whether a known caller may do what a request, or an entry of a bundle, is about."""

from __future__ import annotations

import re
from collections.abc import Iterable

from starlette.types import Scope

from brachium.api.access import Access
from brachium.api.faults import NoRoute
from brachium.api.login_faults import Forbidden, OfOneOrganization
from brachium.formats.lossless import Json
from brachium.security.scopes import LETTERS
from brachium.security.scopes import Scope as Smart

_TYPE_NAME = re.compile(r"[A-Z][A-Za-z]{1,63}")
ACCESS = Access()
# what an entry of a transaction does to its resource
_ENTRY_LETTERS = {"POST": "c", "PUT": "u", "PATCH": "u", "DELETE": "d", "GET": "r"}


def permit(scope: Scope) -> None:
    """Let a request of a known caller pass, or raise what it lacks."""
    if not scope["path"].isprintable():
        # the framework overlooks a line end behind an address, and would serve what no row allows
        raise NoRoute
    row, kind = ACCESS.find(scope["method"], scope["path"])
    if row is None:
        return
    if row.need.whole and scope["caller"].organization:
        raise OfOneOrganization
    _lacking(row.need.missing(scope["caller"].scopes, kind))


def permit_match(scope: Scope, kind: str) -> None:
    """Let a conditional create pass, or raise: a match is found and shown, as by a search."""
    permit_scopes(scope, [Smart(kind, "rs")])


def permit_entries(scope: Scope, bundle: Json) -> None:
    """Let a transaction pass whole, or raise what any of its entries lacks.

    What cannot be read as an entry is refused later, before anything is stored.
    """
    entries = bundle.get("entry")
    found = (_needed(one) for one in (entries if isinstance(entries, list) else ()))
    permit_scopes(scope, (one for one in found if one is not None))


def _needed(entry: Json) -> Smart | None:
    if not isinstance(entry, dict):
        return None
    resource, request = entry.get("resource"), entry.get("request")
    kind = resource.get("resourceType") if isinstance(resource, dict) else None
    method = request.get("method") if isinstance(request, dict) else None
    if not isinstance(kind, str) or not _TYPE_NAME.fullmatch(kind):
        return None
    return Smart(kind, _ENTRY_LETTERS.get(str(method), LETTERS))


def permit_scopes(scope: Scope, needed: Iterable[Smart]) -> None:
    """Let what needs all these scopes pass, or raise those that the caller lacks."""
    _lacking(scope["caller"].scopes.missing(dict.fromkeys(needed)))


def _lacking(missing: tuple[Smart, ...]) -> None:
    if missing:
        raise Forbidden(" ".join(map(str, missing)))
