"""The places between the pages of a search or a history, and the links that lead to them."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from brachium.api.faults import BadParameter, BadSearch, Gone
from brachium.api.sealed import Altered, OtherKey, Seal
from brachium.api.search_query import TOO_WIDE, about
from brachium.api.whose import whose

PAGE = "_page"
# some clients and proxies cut an address off beyond this
LONGEST = 2000


@dataclass(frozen=True, slots=True)
class Place:
    """Where a page begins: in which snapshot, behind or before which place, of how many."""

    at: int | None = None
    after: str | None = None
    before: str | None = None
    total: int | None = None


@dataclass(frozen=True, slots=True)
class Turned:
    """What a link to a page holds: the request as it was understood, and the place."""

    pairs: tuple[tuple[str, str], ...]
    place: Place


class PageLinks:
    """Makes and reads the links to pages; ``base`` is the address of the FHIR interface."""

    def __init__(self, base: str, seal: Seal) -> None:
        self._base = base
        self._seal = seal

    def link(self, path: str, pairs: list[tuple[str, str]], place: Place) -> str:
        """Return the address of a page; refused when it would be too long to be used."""
        held = [place.at, place.after, place.before, place.total]
        token = self._seal.seal([pairs, *held], _purpose(path))
        found = f"{self._base}/{path}?{PAGE}={token}"
        if len(found) >= LONGEST:
            told = about(TOO_WIDE, "_count", _TOO_LONG, "too-costly", _SHORTER)
            raise TooLong(told)
        return found

    def own(self, path: str, pairs: list[tuple[str, str]], place: Place | None) -> str:
        """Return the self link: the address itself for the first page, if it is short enough."""
        plain = f"{self._base}/{path}?{urlencode(pairs)}" if pairs else f"{self._base}/{path}"
        if place is None and len(plain) < LONGEST:
            return plain
        return self.link(path, pairs, place or Place())

    def turned(self, path: str, token: str) -> Turned:
        """Return what a link holds; 400 for one that was altered, 410 for one of another key."""
        try:
            pairs, *held = self._seal.open(token, _purpose(path))
        except OtherKey:
            raise Gone(parameter=PAGE) from None
        except Altered:
            allowed = "a link to a page exactly as it was given"
            raise BadParameter(parameter=PAGE, allowed=allowed) from None
        return Turned(tuple((name, value) for name, value in pairs), Place(*held))


def _purpose(path: str) -> str:
    """Return what a token is for: a page as one organization sees it, which tells a total too."""
    return f"{path} {whose()}"


class TooLong(BadSearch):
    """A search with so many values that no link can hold it."""


_TOO_LONG = "The search is too long for the link to its next page."
_SHORTER = "Ask for fewer values at once, or with a _count that has room for everything."
