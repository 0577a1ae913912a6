"""Everything that is served and not stored: built once at start-up, found like everything else.

A maker takes :class:`Material` and yields FHIR resources as JSON objects with resourceType and id.
Another part of the service adds its own by one line in ``MAKERS`` of ``defined``; reading, search
by every parameter of the type's row, paging and summaries come with it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeAlias

import orjson

from brachium.api.groups import TYPE as GROUP
from brachium.api.search_matching import Values, holds, values_of
from brachium.api.served import SERVED
from brachium.coding.jsontext import fragment

if TYPE_CHECKING:
    from brachium.api.groups import Groups
    from brachium.exam.rule import ModelOptions
    from brachium.problems import Listed
    from brachium.settings import Settings
    from brachium.store.criteria import Search
    from brachium.tables.gather import Tables

Json: TypeAlias = Any


@dataclass(frozen=True, slots=True)
class Material:
    """What definitions are made of.

    ``version`` is that of the software, ``model`` how exams are examined here.
    """

    tables: Tables
    rules: tuple[Listed, ...]
    settings: Settings
    version: str
    model: ModelOptions

    @property
    def canonical(self) -> str:
        """The base of our own canonical URLs, without a slash at the end."""
        return self.settings.canonical


Maker: TypeAlias = Callable[[Material], Iterable[Mapping[str, Json]]]


@dataclass(frozen=True)
class Definition:
    """One resource: ``text`` is the whole JSON object, ``body`` the same as a value."""

    body: Mapping[str, Json]

    @property
    def type(self) -> str:
        """The resource type."""
        return str(self.body["resourceType"])

    @property
    def id(self) -> str:
        """The logical id."""
        return str(self.body["id"])

    @property
    def url(self) -> str:
        """The canonical URL; empty for a type that has none."""
        return str(self.body.get("url", ""))

    @cached_property
    def text(self) -> bytes:
        """The JSON text; decimals keep their digits."""
        return orjson.dumps(self.body, default=fragment)

    @cached_property
    def values(self) -> Values:
        """What it is found by."""
        return values_of(self.body, SERVED[self.type].parameters)


class Definitions:
    """Every definition, by type and id; ``groups`` are made anew whenever they are asked for."""

    def __init__(self, bodies: Iterable[Mapping[str, Json]], groups: Groups | None = None) -> None:
        self._groups = groups
        self._by_id: dict[tuple[str, str], Definition] = {}
        for one in map(Definition, bodies):
            if (one.type, one.id) in self._by_id:
                raise ValueError(f"{one.type}/{one.id} is defined twice")
            self._by_id[one.type, one.id] = one

    def read(self, kind: str, identity: str) -> Definition | None:
        """Return one definition or ``None``."""
        if kind == GROUP:
            found = self._groups.read(identity) if self._groups else None
            return None if found is None else Definition(found)
        return self._by_id.get((kind, identity))

    def all(self, kind: str) -> list[Definition]:
        """Return every definition of a type."""
        return [one for (owner, _), one in self._by_id.items() if owner == kind]

    def search(self, search: Search) -> list[Definition]:
        """Return the definitions that meet every criterion, in the order they were made."""
        return [
            one
            for one in self._of(search.type)
            if one.type == search.type
            and all(holds(criterion, one.values) for criterion in search.criteria)
        ]

    def _of(self, kind: str) -> Iterator[Definition]:
        if kind == GROUP and self._groups:
            yield from map(Definition, self._groups.all())
        else:
            yield from self._by_id.values()
