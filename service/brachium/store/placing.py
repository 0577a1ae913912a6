"""Where the resources of an exam version go: linked to what is there, or stored as new."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from brachium.store import reading
from brachium.store.block import Block
from brachium.store.port import Contradiction

if TYPE_CHECKING:
    from brachium.records import ExamVersion, Resource
    from brachium.store.index import Index


class _Place(NamedTuple):
    """The key of what is there already, or the version that a new row gets."""

    key: int | None
    version: int


@dataclass(frozen=True, slots=True)
class Placing:
    """The resources of one exam version; ``own`` is there for a first version only.

    The own resources of a new exam are new, so they are made ready while another commit waits for
    the disk. Later versions have to compare first.
    """

    resources: tuple[Resource, ...]
    updated: str
    own: Block | None

    @classmethod
    def of(cls, version: ExamVersion, *, is_first: bool) -> Placing:
        """Make ready what can be without the database."""
        if not is_first:
            return cls(version.resources, version.recorded, None)
        own = [one for one in version.resources if one.version is not None]
        if any(one.version != 1 for one in own):
            raise Contradiction("a new exam brings a resource that is not new")
        block = Block.of([(one, 1) for one in own], version.recorded)
        return cls(version.resources, version.recorded, block)

    def keys(self, db: sqlite3.Connection, origin: int, index: Index) -> list[int]:
        """Store what is new and return the key of every resource, in their order."""
        if self.own is None:
            index.enter(db)
            return self._compared(db, origin, self.resources)
        shared = [one for one in self.resources if one.version is None]
        shared_keys = iter(self._compared(db, origin, shared))
        own_keys = iter(self.own.store(db, origin))
        return [next(shared_keys if one.version is None else own_keys) for one in self.resources]

    def _compared(
        self, db: sqlite3.Connection, origin: int, resources: Sequence[Resource]
    ) -> list[int]:
        places = [_place(db, one) for one in resources]
        pairs = list(zip(resources, places, strict=True))
        new = [(one, place.version) for one, place in pairs if place.key is None]
        new_keys = iter(Block.of(new, self.updated).store(db, origin))
        keys = [next(new_keys) if place.key is None else place.key for place in places]
        db.executemany(
            "INSERT INTO shared (type, id, latest) VALUES (?, ?, ?)"
            " ON CONFLICT (type, id) DO UPDATE SET latest = excluded.latest",
            [
                (one.type, one.id, key)
                for (one, place), key in zip(pairs, keys, strict=True)
                if one.version is None and place.key is None
            ],
        )
        return keys


def _place(db: sqlite3.Connection, resource: Resource) -> _Place:
    if resource.version is None:
        return _shared_place(db, resource)
    return _own_place(db, resource, resource.version)


def _shared_place(db: sqlite3.Connection, resource: Resource) -> _Place:
    latest = _latest_shared(db, resource)
    if latest is None:
        return _Place(None, 1)
    key, version = latest
    return _Place(key if _is_stored(db, resource, key) else None, version + 1)


def _own_place(db: sqlite3.Connection, resource: Resource, version: int) -> _Place:
    held = dict(
        db.execute(
            "SELECT version, resource_version FROM resource_id WHERE type = ? AND id = ?",
            (resource.type, resource.id),
        )
    )
    if version in held:
        if not _is_stored(db, resource, held[version]):
            raise Contradiction("a stored version of a resource would change")
        return _Place(held[version], version)
    if version != max(held, default=0) + 1:
        raise Contradiction("a version of a resource is left out")
    if held and _latest_shared(db, resource):
        raise Contradiction("the next version of a shared resource is for the store to number")
    return _Place(None, version)


def _latest_shared(db: sqlite3.Connection, resource: Resource) -> tuple[int, int] | None:
    """Return key and version of the newest version of a shared resource."""
    found: tuple[int, int] | None = db.execute(
        "SELECT resource_version.pk, version FROM shared"
        " JOIN resource_version ON resource_version.pk = latest"
        " WHERE shared.type = ? AND shared.id = ?",
        (resource.type, resource.id),
    ).fetchone()
    return found


def _is_stored(db: sqlite3.Connection, resource: Resource, key: int) -> bool:
    """Tell whether the resource says exactly what the stored row says."""
    (stored,) = reading.by_keys(db, (key,))
    return resource.text(stored.version, stored.updated) == stored.text
