"""A bundle as a graph: what an entry is called and what a reference leads to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from tests.oracles.definitions import Json


@dataclass(slots=True)
class Graph:
    """``entries`` are (fullUrl, resource); references resolve to one of the resources or None."""

    entries: list[tuple[str, Json]]
    _names: dict[str, Json] = field(init=False)

    def __post_init__(self) -> None:
        self._names = {}
        for url, resource in self.entries:
            self._names[url] = resource
            if "id" in resource:
                self._names.setdefault(f"{resource['resourceType']}/{resource['id']}", resource)

    @classmethod
    def of(cls, bundle: Json) -> Graph:
        """Build the graph of a bundle, leaving out entries without a resource."""
        entries = [e for e in bundle.get("entry", ()) if isinstance(e.get("resource"), dict)]
        return cls([(str(e.get("fullUrl", "")), e["resource"]) for e in entries])

    def of_type(self, name: str) -> Iterator[Json]:
        """Yield the resources of one type."""
        return (resource for _, resource in self.entries if resource.get("resourceType") == name)

    def resolve(self, reference: str) -> Json | None:
        """Return the resource meant, honouring a version when the reference names one."""
        target, _, version = reference.partition("/_history/")
        found = self._names.get(target)
        if found is None or not version:
            return found
        return found if found.get("meta", {}).get("versionId", version) == version else None


def references(value: Any, where: str) -> Iterator[tuple[str, Json]]:
    """Yield (path, Reference object) for every literal reference at or below ``value``."""
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield where, value
        for name, member in value.items():
            yield from references(member, f"{where}.{name}")
    elif isinstance(value, list):
        for number, member in enumerate(value):
            yield from references(member, f"{where}[{number}]")
