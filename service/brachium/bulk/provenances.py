"""Which Provenance belongs to resources that are exported (includeAssociatedData)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import orjson

from brachium.bulk.wanted import PROVENANCE, Associated, Wanted

if TYPE_CHECKING:
    from brachium.records import StoredResource
    from brachium.store.jobs import JobBook

_TARGET = re.compile(r"([A-Z][A-Za-z]+)/([A-Za-z0-9.-]{1,64})(?:/_history/([1-9]\d*))?")


@dataclass(frozen=True, slots=True)
class Provenances:
    """Looks at the targets of a Provenance, which name versions of resources."""

    jobs: JobBook
    wanted: Wanted
    at: int

    def wants(self, row: StoredResource) -> bool:
        """Tell whether a Provenance is about exported resources, with LATEST their newest state."""
        latest = self.wanted.associated is Associated.LATEST
        return any(
            not latest or version in (0, self.jobs.newest(kind, identity, self.at))
            for kind, identity, version in self._targets(row)
        )

    def _targets(self, row: StoredResource) -> Iterator[tuple[str, str, int]]:
        try:
            resource: dict[str, Any] = orjson.loads(row.text)
        except ValueError:
            # whoever makes a line of it will tell
            return
        for target in resource.get("target", ()):
            found = _TARGET.fullmatch(target.get("reference", ""))
            if found and found[1] in self.wanted.types and found[1] != PROVENANCE:
                yield found[1], found[2], int(found[3] or 0)
