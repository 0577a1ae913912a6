"""A FHIR search as it is carried out: what is looked for, and how the result is to look."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from brachium.api.faults import STATUSES, BadSearch
from brachium.api.served import SERVED
from brachium.problems import Listed, Problem, Severity
from brachium.store.criteria import Criterion, Order, Search

DEFAULT_COUNT, MOST = 50, 500


@dataclass(frozen=True, slots=True)
class Chained:
    """A criterion by what a reference leads to: any of ``searches`` may find it."""

    parameters: tuple[str, ...]
    searches: tuple[Search, ...]


@dataclass(slots=True)
class Query:
    """One search of a type.

    ``honoured`` are the pairs for the self link; ``warnings`` name what was not looked at.
    ``includes`` hold parameter and type wanted (empty: any), ``back`` type and parameter.
    ``summary`` is one of true, text, data, count, false; ``elements`` names members.
    """

    kind: str
    criteria: list[Criterion] = field(default_factory=list)
    chained: list[Chained] = field(default_factory=list)
    order: list[Order] = field(default_factory=list)
    includes: list[tuple[str, str]] = field(default_factory=list)
    back: list[tuple[str, str]] = field(default_factory=list)
    count: int = DEFAULT_COUNT
    total: bool = True
    summary: str = "false"
    elements: tuple[str, ...] = ()
    honoured: list[tuple[str, str]] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)

    @property
    def search(self) -> Search:
        """The search in the terms of the store, without what is chained."""
        return Search(self.kind, tuple(self.criteria), tuple(self.order))

    @property
    def versioned(self) -> bool:
        """Tell whether the type is stored."""
        return SERVED[self.kind].versioned

    @property
    def counts_only(self) -> bool:
        """Tell whether nothing but the total is wanted."""
        return self.count == 0 or self.summary == "count"


IGNORED = Listed(
    "parameter-ignored",
    Severity.WARNING,
    "A search parameter was not looked at.",
    "The result may hold more than was asked for.",
    "Compare the search with the CapabilityStatement.",
    "FHIR R4 3.1.1.3",
)
UNKNOWN = Listed(
    "parameter-unknown",
    Severity.ERROR,
    "A search parameter is not known.",
    "With Prefer: handling=strict nothing is ignored.",
    "Leave it out, or ask without handling=strict.",
    "FHIR R4 3.1.1.3",
)
MODIFIER = Listed(
    "modifier-not-supported",
    Severity.ERROR,
    "A search parameter has a modifier or a chain that is not served.",
    "To ignore it would change what the search means.",
    "Search without it.",
    "FHIR R4 3.1.1.4.4",
)
_VALUE = STATUSES[BadSearch]
VALUE = Listed(_VALUE.code, Severity.ERROR, _VALUE.title, "", _VALUE.remedy, _VALUE.source)
TOO_WIDE = Listed(
    "search-too-wide",
    Severity.ERROR,
    "The search is too wide or too long to be carried out.",
    "Leaving a part of the result out in silence would hide findings.",
    "Ask for less at once.",
    "FHIR R4 3.1.1",
)
INCOMPLETE = Listed(
    "include-incomplete",
    Severity.WARNING,
    "Not everything that was to be included is in the answer.",
    "A page has room for a limited number of included resources.",
    "Ask with a smaller _count, or search for them on their own.",
    "FHIR R4 3.1.1.5.4",
)
# without VALUE, which the table of statuses has
LISTED = (IGNORED, UNKNOWN, MODIFIER, TOO_WIDE, INCOMPLETE)


def about(row: Listed, name: str, message: str, issue_type: str, remedy: str = "") -> Problem:
    """Return a problem with the parameter ``name`` of a request (FHIR R4 2.44.5.1).

    A modifier is no part of the name.
    """
    plain = name.partition(":")[0]
    return replace(row.problem("", message, issue_type, remedy), place=f"http.{plain}")
