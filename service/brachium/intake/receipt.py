"""What the intake answers."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brachium.problems import Problem
    from brachium.records import ExamVersion, StoredResource


class Outcome(StrEnum):
    """What became of a request.

    ``created``: a new exam; ``changed``: a new version of a stored one; ``same``: exactly this is
    stored already, nothing was written; ``preview``: a dry run, nothing was written; ``conflict``:
    the identifier is taken by other content; ``stale``: the exam moved on since the version that
    the sender saw; ``missing``: no such exam; ``several``: a condition
    fits more than one; ``refused``: a rule is broken; ``broken``: not JSON.
    """

    CREATED = "created"
    CHANGED = "changed"
    SAME = "same"
    PREVIEW = "preview"
    CONFLICT = "conflict"
    STALE = "stale"
    MISSING = "missing"
    SEVERAL = "several"
    REFUSED = "refused"
    BROKEN = "broken"


@dataclass(frozen=True, slots=True)
class Receipt:
    """An outcome, every problem found, and the exam version it is about.

    ``exam`` is the stored version (for a preview: the one that would be stored); with ``conflict``
    and ``stale`` it is the version in the way. ``resources`` are filled for a preview only.
    """

    outcome: Outcome
    problems: tuple[Problem, ...] = ()
    exam: ExamVersion | None = None
    resources: tuple[StoredResource, ...] = ()
