"""Ways to rows: queries from an index to ``resource_version AS resource``, still to be narrowed."""

from __future__ import annotations

from typing import NamedTuple

from brachium.store.ranges import TIME, Range

FROM_IDS = (
    " FROM resource_id CROSS JOIN resource_version AS resource"
    " ON resource.pk = resource_id.resource_version WHERE resource_id.type = ?"
)
FROM_DATES = (
    " FROM ordered CROSS JOIN resource_version AS resource"
    " ON resource.pk BETWEEN ordered.first AND ordered.last"
    " WHERE ordered.type = ? AND ordered.parameter = ?"
)
FROM_TIMES = (
    " FROM exam_version CROSS JOIN resource_version AS resource"
    " ON resource.origin = exam_version.pk WHERE resource.type = ?"
)


class Lead(NamedTuple):
    """One way to rows: ``sql`` begins with FROM and ends in a WHERE that more can be added to.

    With ``runs`` the rows come in runs of the search index, in the order of their keys.
    """

    sql: str
    values: tuple[object, ...]
    runs: bool = True


def of_value(kind: str, parameter: str, value: str) -> Lead:
    """Return the lead to every row with a value of the search index."""
    return Lead(
        " FROM search CROSS JOIN resource_version AS resource"
        " ON resource.pk BETWEEN search.first AND search.last"
        " WHERE search.type = ? AND search.parameter = ? AND search.value = ?",
        (kind, parameter, value),
    )


def of_id(kind: str, identity: str) -> Lead:
    """Return the lead to every version of a resource."""
    return Lead(f"{FROM_IDS} AND resource_id.id = ?", (kind, identity), runs=False)


def of_range(kind: str, parameter: str, found: Range) -> Lead:
    """Return the lead to every row in a range of dates or times."""
    source, values = (
        (FROM_TIMES, (kind,)) if found.column == TIME else (FROM_DATES, (kind, parameter))
    )
    sql, bounds = found.condition
    return Lead(f"{source} AND {sql}", (*values, *bounds), runs=False)
