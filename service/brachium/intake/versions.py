"""The last steps of every change: settle the versions, say who did it, write all of it at once."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal, NamedTuple

from brachium.coding.options import Stamp
from brachium.coding.provenance import provenance
from brachium.coding.response import TYPE as FORM
from brachium.formats.outgoing import SHARED_TYPES
from brachium.intake.desk import Desk, answered
from brachium.intake.receipt import Outcome, Receipt
from brachium.intake.restate import Prior, prior
from brachium.intake.revision import still_told
from brachium.store.port import Outcome as Added

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.exam.findings import Exam
    from brachium.problems import Problem
    from brachium.records import ExamVersion, Resource, StoredResource

_OUTCOMES = {
    Added.CREATED: Outcome.CHANGED,
    Added.STALE: Outcome.STALE,
    Added.MISSING: Outcome.MISSING,
}


class Next(NamedTuple):
    """The next version of an exam, its resources settled but not stored."""

    version: ExamVersion
    exam: Exam
    resources: tuple[Resource, ...]
    activity: Literal["update", "nullify"]
    problems: tuple[Problem, ...]


def priors_of(rows: Iterable[StoredResource]) -> dict[str, Prior]:
    """Return what is coded of one exam alone, by id: its Observations and its report."""
    return {row.id: prior(row) for row in rows if _is_own(row)}


def _is_own(row: StoredResource) -> bool:
    return row.type not in ("Provenance", FORM) and row.type not in SHARED_TYPES


def shared_of(rows: Iterable[StoredResource]) -> tuple[Resource, ...]:
    """Return the shared resources in the very versions that the exam referred to.

    They keep their version numbers: sent without, the store would compare them with what is newest
    and might bring old facts about a patient back.
    """
    return tuple(prior(row).resource for row in rows if row.type in SHARED_TYPES)


def stored(desk: Desk, before: Iterable[StoredResource], following: Next) -> Receipt:
    """Add the Provenance of the change and store everything in one transaction."""
    rows = tuple(before)
    version = following.version
    held = {(row.id, row.version) for row in rows}
    own = [one for one in following.resources if one.version is not None]
    changed = frozenset(one.id for one in own if (one.id, one.version) not in held)
    stamp = Stamp(
        recorded=version.recorded,
        version=version.version,
        report_status=version.status.value,
        reason=version.reason,
        activity=following.activity,
        versions={one.id: one.version for one in own if one.version is not None},
        changed=changed,
    )
    record = provenance(following.exam, own, desk.tables, desk.coding, stamp, version.digest)
    earlier = still_told((row for row in rows if row.type == "Provenance"), own)
    complete = replace(version, resources=(*following.resources, *earlier, record))
    added = desk.keep(complete, version.version - 1)
    outcome = _OUTCOMES[added.outcome]
    if outcome is not Outcome.CHANGED or added.exam is None:
        return Receipt(outcome, (), added.exam)
    told = answered(added.exam, following.problems) if following.problems else added.exam
    return Receipt(outcome, following.problems, told)
