"""The searches in ``_typeFilter``, in the language of every other search."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brachium.api.bulk_asked import Unserved
from brachium.api.bulk_values import pairs_of
from brachium.api.faults import BadSearch
from brachium.api.search_reading import understood
from brachium.api.served import SERVED

if TYPE_CHECKING:
    from brachium.api.search_query import Query
    from brachium.api.searching import Searching
    from brachium.store.criteria import Criterion


@dataclass(frozen=True, slots=True)
class TypeFilters:
    """Reads filters; what cannot be carried out as it stands is never ignored."""

    searching: Searching

    def query(self, kind: str, text: str) -> Query:
        """Return the search of a filter; ``Unserved`` for one that is not served."""
        try:
            pairs = pairs_of(text)
            return understood(SERVED[kind], pairs, self.searching.base, strict=True)
        except BadSearch as refused:
            raise Unserved(" ".join(one.message for one in refused.problems)) from None
        except ValueError as refused:
            raise Unserved(str(refused)) from None

    def criteria(self, kind: str, text: str, at: int) -> tuple[Criterion, ...]:
        """Return the criteria of a filter as of a snapshot."""
        return self.searching.resolved(self.query(kind, text), at).criteria
