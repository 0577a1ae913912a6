"""All exams of one patient as series of measures: read from the store, worked out when asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.series import Trend, trend
from brachium.assess.visits import Visit, Wanted, visit_of
from brachium.coding.identity import party_id
from brachium.exam.leaves import Leaf, leaves
from brachium.exam.reading import reread
from brachium.records import ExamStatus

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.exam.findings import Identifier
    from brachium.records import ExamVersion
    from brachium.store.port import Store
    from brachium.tables.load import Tables

WITHDRAWN, UNREADABLE = "withdrawn", "unreadable"


class LeftOut(NamedTuple):
    """An exam that takes no part: it was withdrawn, or its content cannot be read any more."""

    exam: ExamVersion
    why: str


class Course(NamedTuple):
    """The trend of a patient, and the exams that take no part in it, in the order of arrival."""

    patient: str
    trend: Trend
    left_out: tuple[LeftOut, ...]


def patient_id(identifier: Identifier) -> str:
    """Return the id of the Patient resource of an identifier, stored or not."""
    return party_id("Patient", identifier)


@dataclass(frozen=True)
class Trends:
    """Works trends out from the newest version of every exam of a patient."""

    tables: Tables
    store: Store

    def of(self, patient: str, wanted: Wanted) -> Course | None:
        """Return the trend of a Patient id, or ``None`` for one of whom no exam is stored."""
        stored = self.store.exams_of(patient)
        if not stored:
            return None
        counted: list[tuple[Visit, tuple[Leaf, ...]]] = []
        left_out: list[LeftOut] = []
        for one in stored:
            read = self._read(one)
            if isinstance(read, str):
                left_out.append(LeftOut(one, read))
            else:
                counted.append(read)
        return Course(patient, trend(counted, self.tables, wanted), tuple(left_out))

    def _read(self, stored: ExamVersion) -> tuple[Visit, tuple[Leaf, ...]] | str:
        if stored.status is ExamStatus.ENTERED_IN_ERROR:
            return WITHDRAWN
        try:
            exam = reread(stored.content, self.tables)
        except ValueError:
            return UNREADABLE
        status = stored.status.value
        visit = visit_of(exam, stored.id, stored.version, status, ExamStatus.PRELIMINARY.value)
        return visit, leaves(exam, self.tables)

    def unknown(self, wanted: Wanted) -> Iterable[tuple[str, set[str]]]:
        """Return what is asked for and in no table, with the words that are in it.

        It would find nothing, silently.
        """
        tables, joint = self.tables, wanted.joint
        asked = (
            ("joint", joint, set(tables.joints)),
            ("motion", wanted.motion, _items(tables.motions, joint)),
            ("test", wanted.test, _items(tables.strength, joint)),
        )
        return [(name, known) for name, word, known in asked if word and word not in known]


def _items(rows: Iterable[tuple[str, str]], joint: str) -> set[str]:
    return {item for own, item in rows if joint in ("", own)}
