"""What leads to the rows of a search: the criterion that leaves the fewest, asked of the index."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from brachium.records import DATES
from brachium.store.conditions import ID, UPDATED, Condition, condition, values_of
from brachium.store.criteria import Code, Is
from brachium.store.terms import ANY

if TYPE_CHECKING:
    from brachium.store.criteria import Criterion, Search

# runs that are looked at to see how much a value leads to
_PROBED = 500
# rows from which on it is better to walk along an index than to sort
_MANY = 2000
_FROM_RUNS = (
    " FROM search CROSS JOIN resource_version AS resource"
    " ON resource.pk BETWEEN search.first AND search.last"
    " WHERE search.type = ? AND search.parameter = ? AND search.value = ?"
)
_FROM_IDS = (
    " FROM resource_id CROSS JOIN resource_version AS resource"
    " ON resource.pk = resource_id.resource_version"
    " WHERE resource_id.type = ? AND resource_id.id = ?"
)


class Lead(NamedTuple):
    """One way to rows: ``sql`` begins with FROM and ends in a WHERE that more can be added to.

    With ``runs`` the rows come in runs of the index, in the order of their keys.
    """

    sql: str
    values: tuple[object, ...]
    runs: bool = True


class Walk(NamedTuple):
    """A lead whose rows come in the order asked for: ``value`` is what they are sorted by."""

    lead: Lead
    value: str
    order: tuple[str, ...]


_FROM_VALUES = Walk(
    Lead(
        " FROM ordered CROSS JOIN resource_version AS resource"
        " ON resource.pk BETWEEN ordered.first AND ordered.last"
        " WHERE ordered.type = ? AND ordered.parameter = ?",
        (),
    ),
    "ordered.value",
    ("ordered.value", "ordered.first", "resource.pk"),
)
_FROM_TIMES = Walk(
    Lead(
        " FROM exam_version CROSS JOIN resource_version AS resource"
        " ON resource.origin = exam_version.pk WHERE resource.type = ?",
        (),
    ),
    "exam_version.recorded",
    ("exam_version.recorded", "resource.pk"),
)


class Plan(NamedTuple):
    """Where the rows of a search come from, and what has to hold of each.

    A row may come from several leads.
    """

    leads: tuple[Lead, ...]
    conditions: tuple[Condition, ...]
    walk: Walk | None = None

    @property
    def where(self) -> str:
        """The conditions, each after an AND."""
        return "".join(f" AND {one.sql}" for one in self.conditions)

    @property
    def values(self) -> tuple[object, ...]:
        """The values of the conditions."""
        return tuple(value for one in self.conditions for value in one.values)


def plan(db: sqlite3.Connection, search: Search, others: Iterable[Condition]) -> Plan:
    """Return how to find what meets every criterion and ``others``."""
    everything = (Lead(_FROM_RUNS, (search.type, ANY, ANY)),)
    found: list[tuple[int, tuple[Lead, ...], Criterion | None]] = [
        (_weight(db, everything), everything, None)
    ]
    for criterion in search.criteria:
        leads = tuple(_leads(db, search.type, criterion))
        if leads or _leads_nowhere(db, search.type, criterion):
            found.append((_weight(db, leads), leads, criterion))
    weight, leads, leading = min(found, key=lambda one: one[0])
    walk = _walk(db, search) if weight >= _MANY else None
    if walk is not None:
        conditions = [condition(db, search.type, one) for one in search.criteria]
        return Plan((walk.lead,), (*conditions, *others), walk)
    conditions = [condition(db, search.type, one) for one in search.criteria if one is not leading]
    return Plan(leads, (*conditions, *others))


def _walk(db: sqlite3.Connection, search: Search) -> Walk | None:
    """Return how to walk in the order of a search, where an index has it and leaves nothing out."""
    if len(search.order) != 1:
        return None
    kind, name = search.type, search.order[0].parameter
    if name == UPDATED:
        return _FROM_TIMES._replace(lead=_FROM_TIMES.lead._replace(values=(kind,)))
    has_all = _held(db, kind, name) == _held(db, kind, ANY)
    if name not in DATES or not has_all:
        return None
    return _FROM_VALUES._replace(lead=_FROM_VALUES.lead._replace(values=(kind, name)))


def _held(db: sqlite3.Connection, kind: str, parameter: str) -> int:
    """Return how many rows have a parameter at all."""
    query = (
        "SELECT coalesce(sum(last - first + 1), 0) FROM search"
        " WHERE type = ? AND parameter = ? AND value = ?"
    )
    return int(db.execute(query, (kind, parameter, ANY)).fetchone()[0])


def _leads(db: sqlite3.Connection, kind: str, criterion: Criterion) -> Iterator[Lead]:
    if criterion.parameters == (ID,) and not criterion.negated:
        for match in criterion.matches:
            if isinstance(match, Is | Code):
                yield Lead(_FROM_IDS, (kind, match[0]), runs=False)
        return
    for one in values_of(db, kind, criterion) or ():
        yield from (Lead(_FROM_RUNS, (kind, one.parameter, text)) for text in one.texts)


def _leads_nowhere(db: sqlite3.Connection, kind: str, criterion: Criterion) -> bool:
    """Tell whether nothing in the index meets a criterion that only the index can meet."""
    return values_of(db, kind, criterion) is not None


def _weight(db: sqlite3.Connection, leads: Iterable[Lead]) -> int:
    """Return about how many rows the leads have, older versions included."""
    query = (
        "SELECT coalesce(sum(last - first + 1), 0) FROM (SELECT first, last FROM search"
        " WHERE type = ? AND parameter = ? AND value = ? LIMIT ?)"
    )
    return sum(
        db.execute(query, (*one.values, _PROBED)).fetchone()[0] if one.runs else 1 for one in leads
    )
