"""What belongs to an organization: its exams, what is coded of them, whoever takes part in them.

An exam belongs to one organization for ever. What the exam brought belongs to it as well; a patient
or an examiner whom exams of several organizations name is seen by each of them, in every version.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from brachium.store.conditions import Condition
from brachium.store.leads import Lead, of_value

if TYPE_CHECKING:
    from brachium.records import Resource

# the parameter of the search index; nobody can ask for it by name
ORGANIZATION = "_organization"
# later than any key
ALWAYS = 2**62

_BELONGS = (
    "((SELECT organization FROM exam WHERE pk ="
    " (SELECT exam FROM exam_version WHERE pk = resource.origin)) = ?"
    " OR EXISTS (SELECT 1 FROM seen WHERE seen.organization = ? AND seen.type = resource.type"
    " AND seen.id = resource.id AND since <= ?))"
)
_FROM_SEEN = (
    " FROM seen CROSS JOIN resource_id USING (type, id) CROSS JOIN resource_version AS resource"
    " ON resource.pk = resource_id.resource_version WHERE seen.organization = ? AND seen.type = ?"
)


def belonging(organization: str, moment: int = ALWAYS) -> Condition:
    """Return the condition of what an organization sees, as of the key of a moment.

    The condition is one on a row of ``resource_version AS resource``.
    """
    return Condition(_BELONGS, (organization, organization, moment))


def lead_of(db: sqlite3.Connection, kind: str, organization: str) -> tuple[Lead, int | None]:
    """Return the way to everything of a type that an organization sees, and how much that is.

    How much is ``None`` for a value of the search index, which tells it itself.
    """
    query = "SELECT count(*) FROM seen WHERE organization = ? AND type = ?"
    (shared,) = db.execute(query, (organization, kind)).fetchone()
    if shared:
        return Lead(_FROM_SEEN, (organization, kind), runs=False), shared
    return of_value(kind, ORGANIZATION, organization), None


def note_seen(
    db: sqlite3.Connection, organization: str, resources: Iterable[Resource], since: int
) -> None:
    """Note what an exam of an organization shares with exams of others; ``since`` is a key of it.

    Whose version the store decides is shared.
    """
    db.executemany(
        "INSERT INTO seen (organization, type, id, since) VALUES (?, ?, ?, ?)"
        " ON CONFLICT (organization, type, id) DO NOTHING",
        [(organization, one.type, one.id, since) for one in resources if one.version is None],
    )


def organization_of(db: sqlite3.Connection, key: int) -> str:
    """Return the organization whose exam brought a resource version."""
    query = (
        "SELECT organization FROM exam JOIN exam_version ON exam_version.exam = exam.pk"
        " JOIN resource_version ON resource_version.origin = exam_version.pk"
        " WHERE resource_version.pk = ?"
    )
    return str(db.execute(query, (key,)).fetchone()[0])


def visible(
    db: sqlite3.Connection, organization: str, names: Sequence[tuple[str, str]]
) -> frozenset[tuple[str, str]]:
    """Return which resources, by type and id, an organization sees.

    The indexes must be complete.
    """
    sql, values = belonging(organization)
    query = (
        "SELECT 1 FROM resource_id JOIN resource_version AS resource"  # noqa: S608 - constants
        " ON resource.pk = resource_id.resource_version"
        f" WHERE resource_id.type = ? AND resource_id.id = ? AND {sql} LIMIT 1"
    )
    found = (name for name in names if db.execute(query, (*name, *values)).fetchone())
    return frozenset(found)
