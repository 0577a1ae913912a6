"""A correction: which findings changed, what that makes of the exam, and the coded result."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from brachium.coding.identity import Ids
from brachium.coding.options import Stamp
from brachium.exam.canonical import canonical
from brachium.exam.leaves import Leaf, leaves
from brachium.intake.desk import Desk, later, read_back
from brachium.intake.form import next_form
from brachium.intake.lifecycle import (
    DRAFT,
    FINAL,
    change_of,
    goal,
    leaf_change,
    leaf_status,
    returning_problem,
)
from brachium.intake.moment import moment_problems
from brachium.intake.receipt import Outcome, Receipt
from brachium.intake.restate import IN_ERROR, Prior
from brachium.intake.revision import next_version, returning
from brachium.intake.versions import Next, priors_of, stored

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brachium.exam.findings import Exam
    from brachium.problems import Problem
    from brachium.records import ExamStatus, ExamVersion, StoredResource


@dataclass(frozen=True)
class Correction:
    """New content for a stored exam, checked and allowed."""

    desk: Desk
    current: ExamVersion
    exam: Exam
    problems: tuple[Problem, ...]
    reason: str

    def made(self) -> Receipt:
        """Code the new content, settle what changed, and store the next version."""
        stamp = Stamp(
            recorded=later(self.desk.clock(), self.current.recorded),
            version=self.current.version + 1,
            report_status=self._goal.value,
            statuses=self._statuses,
            reason=self.reason,
            activity="update",
        )
        worked = self.desk.work_out(self.exam, stamp)
        encoded = worked.encoded
        back = set(returning(self._before, encoded.resources, self._goal))
        if back:
            return Receipt(Outcome.REFUSED, self._returned(back), self.current)
        ahead = moment_problems(self.exam, stamp.recorded)
        problems = (*self.problems, *ahead, *encoded.problems)
        coded = next_version(self._before, encoded.resources, self._goal, self._decided)
        resources = (*coded, *next_form(self.desk, self._rows, self.exam, stamp))
        first = self.desk.version(self.exam, problems, worked, stamp.recorded, self._goal)
        version = replace(first, version=stamp.version, reason=self.reason)
        return stored(
            self.desk, self._rows, Next(version, self.exam, resources, "update", problems)
        )

    @cached_property
    def _rows(self) -> tuple[StoredResource, ...]:
        return self.desk.store.resources(self.current.id, self.current.version)

    @cached_property
    def _before(self) -> dict[str, Prior]:
        return priors_of(self._rows)

    @cached_property
    def _old(self) -> Mapping[str, Leaf]:
        return self._leaves(read_back(self.current.content))

    @cached_property
    def _new(self) -> Mapping[str, Leaf]:
        # through the canonical text, so that both are compared as they were posted
        return self._leaves(read_back(canonical(self.exam)))

    def _leaves(self, exam: Exam) -> dict[str, Leaf]:
        return {leaf.key: leaf for leaf in leaves(exam, self.desk.tables)}

    def _stored_status(self, key: str) -> str | None:
        prior = self._before.get(self._id(key))
        return None if prior is None else prior.status

    def _id(self, key: str) -> str:
        return Ids(self.current.id).of(f"Observation/{key}")

    @cached_property
    def _changes(self) -> dict[str, ExamStatus | None]:
        """What happened to each finding that was there before, by leaf key."""
        return {
            key: leaf_change(self._old[key], leaf)
            for key, leaf in self._new.items()
            if key in self._old and self._stored_status(key) is not None
        }

    @cached_property
    def _statuses(self) -> dict[str, str]:
        """The status of every finding, by leaf key; a draft and its closing set none."""
        if self._goal in (DRAFT, FINAL):
            return {}
        return {
            key: leaf_status(self._changes.get(key), self._stored_status(key)) for key in self._new
        }

    @property
    def _decided(self) -> dict[str, str]:
        return {self._id(key): status for key, status in self._statuses.items()}

    @cached_property
    def _goal(self) -> ExamStatus:
        return goal(
            self.current.status, self.exam.status, change_of(self._changes.values(), self._removed)
        )

    @property
    def _removed(self) -> bool:
        """Whether a finding that has a valid Observation gets none any more."""
        return any(
            self._stored_status(key) not in (None, IN_ERROR) and not _is_coded(self._new.get(key))
            for key in self._old
        )

    def _returned(self, back: set[str]) -> tuple[Problem, ...]:
        return tuple(
            returning_problem(leaf.index)
            for leaf in leaves(self.exam, self.desk.tables)
            if self._id(leaf.key) in back
        )


def _is_coded(leaf: Leaf | None) -> bool:
    """Tell whether a leaf gets an Observation: what was not examined gets none (EXM-15)."""
    if leaf is None:
        return False
    return leaf.finding.absent is None or leaf.finding.absent.reason != "not-examined"
