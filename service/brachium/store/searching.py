"""Searches over the newest version of each resource as of a moment; the indexes must be complete.

The moment is the key of the newest resource version that is looked at (``at``). A page asked for
with the same moment sees what was stored then, whatever came since.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from brachium.store import reading
from brachium.store.belonging import belonging
from brachium.store.conditions import Condition
from brachium.store.leading import Plan, counting, paging
from brachium.store.leads import Lead
from brachium.store.port import Page
from brachium.store.sorting import Key, Place, behind, keys_of

if TYPE_CHECKING:
    from brachium.store.criteria import Search

_NEWEST = (
    "NOT EXISTS (SELECT 1 FROM resource_id AS newer WHERE newer.type = resource.type"
    " AND newer.id = resource.id AND newer.version > resource.version"
    " AND newer.resource_version <= ?)"
)


def newest_key(db: sqlite3.Connection) -> int:
    """Return the key of the resource version that was stored last."""
    return int(db.execute("SELECT coalesce(max(pk), 0) FROM resource_version").fetchone()[0])


def found(
    db: sqlite3.Connection,
    search: Search,
    count: int,
    at: int | None,
    after: str | None,
    before: str | None,
    *,
    total: bool,
) -> Page:
    """Return a page of the resources that meet every criterion."""
    moment = newest_key(db) if at is None else at
    as_of = [Condition("resource.pk <= ?", (moment,)), Condition(_NEWEST, (moment,))]
    if search.organization:
        as_of.append(belonging(search.organization, moment))
    matches = _total(db, counting(db, search, as_of)) if total else None
    backwards = before is not None
    keys = keys_of(search, backwards=backwards)
    given = before if backwards else after
    place = None if given is None else Place.read(given, len(keys))
    if given is not None and place is None:
        return Page(matches, (), moment, None, None, False, False)
    places = _places(db, paging(db, search, as_of, count + 1), keys, place, count + 1)
    more, places = len(places) > count, places[:count]
    if backwards:
        places.reverse()
    rows = reading.by_keys(db, [one.key for one in places])
    first, last = (places[0].text, places[-1].text) if places else (None, None)
    has_previous, has_next = (more, True) if backwards else (place is not None, more)
    return Page(matches, rows, moment, first, last, has_previous, has_next)


def _total(db: sqlite3.Connection, planned: Plan) -> int:
    if len(planned.leads) == 1:
        (lead,) = planned.leads
        query = f"SELECT count(*){lead.sql}{planned.where}"
        return int(db.execute(query, (*lead.values, *planned.values)).fetchone()[0])
    # what two leads have in common counts once
    keys: set[int] = set()
    for lead in planned.leads:
        query = f"SELECT resource.pk{lead.sql}{planned.where}"
        keys.update(row[0] for row in db.execute(query, (*lead.values, *planned.values)))
    return len(keys)


def _places(
    db: sqlite3.Connection, planned: Plan, keys: Sequence[Key], place: Place | None, count: int
) -> list[Place]:
    """Return the first places behind one, each once; what comes first in each lead is enough."""
    unsorted = len(keys) == 1
    nearest: set[tuple[Any, ...]] = set()
    for lead in planned.leads:
        rows = _in_runs if unsorted and lead.runs else _sorted
        if planned.walk is not None:
            rows = _walked
        nearest.update(rows(db, planned, lead, keys, place, count))
    found = list(nearest)
    for number, key in reversed(list(enumerate(keys))):
        found.sort(key=itemgetter(number), reverse=key.descending)
    return [Place(one) for one in found[:count]]


def _in_runs(
    db: sqlite3.Connection,
    planned: Plan,
    lead: Lead,
    keys: Sequence[Key],
    place: Place | None,
    count: int,
) -> list[tuple[object, ...]]:
    """Walk along the runs of one index value, which are in the order of their keys already.

    It begins with the run that holds the place, so that a late page takes no longer than the first.
    """
    (key,) = keys
    way = "DESC" if key.descending else "ASC"
    start, values = "", tuple[object, ...]()
    if place is not None and key.descending:
        start, values = " AND search.first < ? AND resource.pk < ?", (*place.values, *place.values)
    elif place is not None:
        start = (
            " AND search.first >= coalesce((SELECT max(run.first) FROM search AS run"
            " WHERE run.type = ? AND run.parameter = ? AND run.value = ? AND run.first <= ?), 0)"
            " AND resource.pk > ?"
        )
        values = (*lead.values, *place.values, *place.values)
    query = (
        f"SELECT resource.pk{lead.sql}{start}{planned.where}"
        f" ORDER BY search.first {way}, resource.pk {way} LIMIT ?"
    )
    return db.execute(query, (*lead.values, *values, *planned.values, count)).fetchall()


def _walked(
    db: sqlite3.Connection,
    planned: Plan,
    lead: Lead,
    keys: Sequence[Key],
    place: Place | None,
    count: int,
) -> list[tuple[Any, ...]]:
    """Walk along an index that has the order asked for, from a place in it."""
    walk = planned.walk
    if walk is None:
        raise ValueError("there is no index to walk along")
    # what the first key asks for is what the index is sorted by
    keys = (keys[0]._replace(sql=walk.value, values=()), *keys[1:])
    comparison, way = ("<=", "DESC") if keys[0].descending else (">=", "ASC")
    start, values = "", tuple[object, ...]()
    if place is not None:
        later = behind(keys, place)
        start = f" AND {walk.value} {comparison} ? AND {later.sql}"
        values = (place.values[0], *later.values)
    plain = len(keys) == 2
    order = ", ".join(f"{one} {way}" for one in walk.order) if plain else _order(keys)
    shown = ", ".join(key.sql for key in keys)
    query = f"SELECT {shown}{lead.sql}{start}{planned.where} ORDER BY {order} LIMIT ?"
    said = [value for key in keys for value in key.values]
    return db.execute(query, (*said, *lead.values, *values, *planned.values, count)).fetchall()


def _order(keys: Sequence[Key]) -> str:
    """Return the order by the columns of a query that shows the keys first."""
    ways = ("DESC" if key.descending else "ASC" for key in keys)
    return ", ".join(f"{number} {way}" for number, way in enumerate(ways, 1))


def _sorted(
    db: sqlite3.Connection,
    planned: Plan,
    lead: Lead,
    keys: Sequence[Key],
    place: Place | None,
    count: int,
) -> list[tuple[object, ...]]:
    """Look at every row of a lead and keep those that come first."""
    shown = ", ".join(key.sql for key in keys)
    later = [] if place is None else [behind(keys, place)]
    where = planned.where + "".join(f" AND {one.sql}" for one in later)
    values = [value for key in keys for value in key.values]
    values += [*lead.values, *planned.values, *(value for one in later for value in one.values)]
    query = f"SELECT {shown}{lead.sql}{where} ORDER BY {_order(keys)} LIMIT ?"
    return db.execute(query, (*values, count)).fetchall()
