"""The order of a search as SQL: what to sort by, and what lies behind a place in it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import orjson

from brachium.store.conditions import ID, ORDERED_VALUE, RECORDED, UPDATED, Condition

if TYPE_CHECKING:
    from brachium.store.criteria import Order, Search

_KEYS = {ID: "resource.id", UPDATED: RECORDED}


class Key(NamedTuple):
    """Something to sort by: an SQL expression that is never null."""

    sql: str
    values: tuple[object, ...]
    descending: bool


class Place(NamedTuple):
    """A row's place in the order: what it is sorted by, then its key."""

    values: tuple[object, ...]

    @classmethod
    def read(cls, text: str, size: int) -> Place | None:
        """Return the place of :attr:`text`; ``None`` for a text that is none of this order."""
        try:
            found = orjson.loads(text)
        except ValueError:
            return None
        if not isinstance(found, list) or len(found) != size:
            return None
        *sorted_by, key = found
        if type(key) is not int or not all(isinstance(one, str) for one in sorted_by):
            return None
        return cls(tuple(found))

    @property
    def key(self) -> int:
        """The key of the row."""
        found = self.values[-1]
        if not isinstance(found, int):
            raise TypeError("a place ends in a key")
        return found

    @property
    def text(self) -> str:
        """The place as text."""
        return orjson.dumps(self.values).decode()


def keys_of(search: Search, *, backwards: bool) -> tuple[Key, ...]:
    """Return everything to sort by; the key of the row comes last and decides between equals."""
    found = [_key(search.type, one) for one in search.order]
    # equals in the same direction, so that an index can be walked either way
    found.append(Key("resource.pk", (), descending=bool(found) and found[0].descending))
    return tuple(one._replace(descending=one.descending is not backwards) for one in found)


def _key(kind: str, order: Order) -> Key:
    name = order.parameter
    if name in _KEYS:
        return Key(_KEYS[name], (), order.descending)
    return Key(f"coalesce({ORDERED_VALUE}, '')", (kind, name), order.descending)


def behind(keys: Sequence[Key], place: Place) -> Condition:
    """Return the condition of what comes after a place: first by the first key, then the next."""
    parts, values = [], []
    for number, key in enumerate(keys):
        equal = [f"{one.sql} = ?" for one in keys[:number]]
        parts.append(" AND ".join([*equal, f"{key.sql} {'<' if key.descending else '>'} ?"]))
        for one, value in zip(keys[:number], place.values, strict=False):
            values += [*one.values, value]
        values += [*key.values, place.values[number]]
    return Condition("(" + " OR ".join(f"({part})" for part in parts) + ")", tuple(values))
