"""From the resources of the last version and those coded now to those of the next version.

Nothing is dropped: a resource that is not coded any more goes on as entered in error, and what did
not change keeps its version, so that a receiver sees exactly what to take over.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import orjson

from brachium.formats.references import targets
from brachium.intake.lifecycle import AMENDED, CORRECTED, DRAFT, FINAL
from brachium.intake.restate import (
    IN_ERROR,
    Prior,
    Withdrawal,
    prior,
    same_but_status,
    status_of,
    with_status,
    withdrawn_report,
)

if TYPE_CHECKING:
    from brachium.records import ExamStatus, Resource, StoredResource

REPORT = "DiagnosticReport"
Priors = Mapping[str, Prior]


def next_version(
    before: Priors, coded: Sequence[Resource], goal: ExamStatus, decided: Mapping[str, str]
) -> tuple[Resource, ...]:
    """Return every resource of the next version: first the coded ones, then those that went.

    ``before`` maps resource ids to what the last version held (without Provenance and shared
    resources); ``decided`` holds, by resource id, what became of each finding (a result that is
    not tested any more is a correction, although its Observation is cancelled). The report always
    gets a version of its own: it is the face of the exam version.
    """
    coded_ids = {resource.id for resource in coded}
    gone = [_withdrawn(prior) for key, prior in before.items() if key not in coded_ids]
    step = _Step(before, coded, goal, decided)
    return (*(step.settled(resource) for resource in coded), *gone)


def withdrawn(before: Priors, withdrawal: Withdrawal) -> tuple[Resource, ...]:
    """Return every resource of a withdrawn exam: entered in error, its content kept (COR-02)."""
    return tuple(
        withdrawn_report(prior.resource, withdrawal)._replace(version=prior.version + 1)
        if prior.resource.type == REPORT
        else _withdrawn(prior)
        for prior in before.values()
    )


def returning(before: Priors, coded: Iterable[Resource], goal: ExamStatus) -> list[str]:
    """Return the ids of findings that were entered in error and are coded again.

    In a draft that is editing. Afterwards it would undo a withdrawal that others may have acted
    on (COR-04); only what is computed or grouped by us comes back when its sources do.
    """
    if goal is DRAFT:
        return []
    return [
        resource.id
        for resource in coded
        if resource.id in before
        and before[resource.id].status == IN_ERROR
        and not _members(resource)
    ]


def _withdrawn(prior: Prior) -> Resource:
    if prior.status == IN_ERROR:
        return prior.resource
    return with_status(prior.resource, IN_ERROR)._replace(version=prior.version + 1)


def _members(resource: Resource) -> set[str]:
    """The ids of the Observations that a resource groups or is computed from."""
    return {target.id for target in targets(resource.body) if target.type == "Observation"}


def still_told(records: Iterable[StoredResource], current: Iterable[Resource]) -> list[Resource]:
    """Return the earlier Provenances that speak of a version which is current still (BND-06)."""
    held = {(one.id, one.version) for one in current}
    return [
        prior(record).resource
        for record in records
        if any((target.id, target.version) in held for target in targets(_told(record)))
    ]


def _told(record: StoredResource) -> bytes:
    """The targets of a Provenance; its other references are to what came before."""
    return orjson.dumps(orjson.loads(record.text)["target"])


class _Step:
    """One step of an exam; resolves what follows what, members first."""

    def __init__(
        self,
        before: Priors,
        coded: Sequence[Resource],
        goal: ExamStatus,
        decided: Mapping[str, str],
    ) -> None:
        self.before = before
        self.decided = decided
        self.coded = {resource.id: resource for resource in coded}
        self.goal = goal
        self._done: dict[str, Resource] = {}

    def settled(self, resource: Resource) -> Resource:
        """Return the resource with the status and version that it has from now on."""
        if resource.version is None:
            return resource
        if resource.id not in self._done:
            self._done[resource.id] = self._settle(resource)
        return self._done[resource.id]

    def _settle(self, coded: Resource) -> Resource:
        prior = self.before.get(coded.id)
        members = _members(coded) | (_members(prior.resource) if prior else set())
        if prior is None:
            return coded._replace(version=1)
        moved = self._moved(members)
        if self._unchanged(prior, coded, moved, follows=bool(members)):
            return prior.resource
        status = self._status(prior, coded, moved, follows=bool(members))
        return with_status(coded, status)._replace(version=prior.version + 1)

    def _unchanged(self, prior: Prior, coded: Resource, moved: set[str], *, follows: bool) -> bool:
        if coded.type == REPORT or not same_but_status(prior.resource, coded):
            return False
        if self.goal in (DRAFT, FINAL):
            return status_of(coded) == prior.status
        return not moved if follows else status_of(coded) == prior.status

    def _status(self, prior: Prior, coded: Resource, moved: set[str], *, follows: bool) -> str:
        if self.goal in (DRAFT, FINAL):
            return status_of(coded)
        if coded.type == REPORT:
            return self.goal.value
        if follows:
            # a computed value or a panel is what its members are (COR-03)
            wrong = moved & {CORRECTED.value, IN_ERROR}
            return CORRECTED.value if wrong else AMENDED.value
        # coded differently although the finding is the same: newer tables, or the patient's facts
        drifted = status_of(coded) == FINAL.value and prior.status == FINAL.value
        return AMENDED.value if drifted else status_of(coded)

    def _moved(self, members: set[str]) -> set[str]:
        """The statuses of the members that change in this step."""
        moved = set()
        for member in members:
            prior = self.before.get(member)
            if member not in self.coded:
                if prior is not None and prior.status != IN_ERROR:
                    # a computed value can go because its sources were amended
                    computed = bool(_members(prior.resource))
                    moved.add(AMENDED.value if computed else IN_ERROR)
                continue
            now = self.settled(self.coded[member])
            if prior is None or now.version != prior.version:
                moved.add(self.decided.get(member, status_of(now)))
        return moved
