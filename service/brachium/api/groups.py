"""Groups of patients, one for each organization: whoever was examined there.

A Group has the id and the identifiers of its organization. Its members are every patient whom a
report, withdrawn or not, says to be examined there; they are not listed, because they may be many
and change with every exam: an export of the group has them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import orjson

from brachium.store.criteria import Search

if TYPE_CHECKING:
    from brachium.records import StoredResource
    from brachium.store.port import Store

TYPE = "Group"
_ORGANIZATION = "Organization"
_PAGE = 500


@dataclass(frozen=True, slots=True)
class Groups:
    """Makes the groups of what is stored at the moment."""

    store: Store

    def read(self, identity: str) -> dict[str, Any] | None:
        """Return one group or ``None``."""
        row = self.store.read(_ORGANIZATION, identity)
        return None if row is None else _group(row)

    def all(self) -> Iterator[dict[str, Any]]:
        """Yield every group."""
        at, after, more = None, None, True
        while more:
            page = self.store.search(Search(_ORGANIZATION), _PAGE, at, after, total=False)
            at, after, more = page.at, page.last, page.has_next
            yield from map(_group, page.rows)


def _group(row: StoredResource) -> dict[str, Any]:
    organization = orjson.loads(row.text)
    kept = {k: organization[k] for k in ("identifier", "name") if k in organization}
    words = {"text": "Patients examined at this organization"}
    return {
        "resourceType": TYPE,
        "id": row.id,
        **kept,
        "active": True,
        "type": "person",
        "actual": True,
        "code": words,
        "managingEntity": {"reference": f"{_ORGANIZATION}/{row.id}"},
    }
