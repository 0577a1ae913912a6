"""One exam version in: what becomes of it, and everything of it written."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from typing import TYPE_CHECKING

from brachium.records import AuditEntry, ExamStatus
from brachium.store import reading
from brachium.store.belonging import note_seen
from brachium.store.index import LOT, is_due
from brachium.store.job_rows import refuse_overtaken
from brachium.store.placing import Placing
from brachium.store.port import Added, Contradiction, Outcome
from brachium.store.runs import runs
from brachium.store.sealing import Seal, seal

if TYPE_CHECKING:
    from brachium.records import ExamVersion, Occasion
    from brachium.store.chain import Chain
    from brachium.store.index import Index

_WITHDRAWN = ExamStatus.ENTERED_IN_ERROR


class Addition:
    """An exam version on its way in; what needs no database is done when it is made."""

    def __init__(
        self,
        version: ExamVersion,
        expected: int | None,
        request: Occasion,
        index: Index,
        chain: Chain,
    ) -> None:
        if version.version != (expected or 0) + 1:
            raise Contradiction("an exam version does not follow the one it is meant to follow")
        names = {(one.type, one.id) for one in version.resources}
        if len(names) < len(version.resources):
            raise Contradiction("a resource stands twice in one exam version")
        self._version = version
        self._expected = expected
        self._request = request
        self._index = index
        self._chain = chain
        self._placing = Placing.of(version, is_first=expected is None)

    def carry_out(self, db: sqlite3.Connection) -> Added:
        """Decide and write; the caller holds the transaction."""
        version = self._version
        current = reading.exam_by_identifier(db, version.system, version.value)
        if current and current.id != version.id:
            raise Contradiction("an exam identifier is stored under another id")
        outcome = self._outcome(db, current)
        origin = 0
        if outcome is Outcome.CREATED:
            refuse_overtaken(db, version.recorded)
            origin = self._write(db)
        self._note(db, outcome, current, origin)
        if current is None or outcome is Outcome.CREATED:
            return Added(outcome, replace(version, resources=()))
        return Added(outcome, current)

    def _outcome(self, db: sqlite3.Connection, current: ExamVersion | None) -> Outcome:
        if self._expected is not None:
            if current is None:
                return Outcome.MISSING
            if current.organization != self._version.organization:
                raise Contradiction("an exam would go to another organization")
            return Outcome.CREATED if current.version == self._expected else Outcome.STALE
        if current is None:
            return Outcome.CREATED
        return Outcome.SAME if self._is_repeat(db, current) else Outcome.CONFLICT

    def _is_repeat(self, db: sqlite3.Connection, current: ExamVersion) -> bool:
        """The newest content again, or the first post repeated after the exam moved on (EXM-03)."""
        if self._version.digest == current.digest:
            return True
        first = reading.exam(db, current.id, 1)
        return first is not None and first.digest == self._version.digest

    def _write(self, db: sqlite3.Connection) -> int:
        """Store everything and return the key of the exam version."""
        origin = self._write_exam(db)
        keys = self._placing.keys(db, origin, self._index)
        one = self._version
        note_seen(db, one.organization, one.resources, max(keys, default=0))
        db.executemany(
            "INSERT INTO member (exam_version, position, first, last) VALUES (?, ?, ?, ?)",
            [(origin, position, *run) for position, run in enumerate(runs(keys))],
        )
        if is_due(db):
            self._index.enter(db, LOT)
        return origin

    def _write_exam(self, db: sqlite3.Connection) -> int:
        one = self._version
        if self._expected is None:
            identity = (one.id, one.system, one.value, one.organization)
            db.execute(
                "INSERT INTO exam (id, system, value, organization) VALUES (?, ?, ?, ?)", identity
            )
        told = (one.status.value, one.recorded, one.digest, one.edition, one.reason)
        judged = (_text(one.shown), one.problems, one.assessment)
        cursor = db.execute(
            "INSERT INTO exam_version (exam, version, status, recorded, digest, edition, reason,"
            " shown, problems, assessment, content)"
            " VALUES ((SELECT pk FROM exam WHERE id = ?), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (one.id, one.version, *told, *judged, one.content),
        )
        return int(cursor.lastrowid or 0)

    def _note(
        self, db: sqlite3.Connection, outcome: Outcome, before: ExamVersion | None, origin: int
    ) -> None:
        """Tell the audit of the attempt; ``origin`` is the exam version that was stored, or 0."""
        one = self._version
        newest = one.version if origin else before.version if before else 0
        sealed = seal(db, origin) if origin else Seal("", 0)
        entry = AuditEntry.of(
            self._request,
            one.recorded,
            self._action(before),
            outcome.value,
            exam=one.id,
            version=newest,
            digest=one.digest,
            shown=self._shown(outcome, before),
            patients=tuple(f"Patient/{r.id}" for r in one.resources if r.type == "Patient"),
            data=tuple(
                f"{r.type}/{r.id}/_history/{r.version}"
                for r in one.resources
                if r.type == "DiagnosticReport"
            ),
            seal=sealed.digest,
            stored=sealed.resources,
        )
        self._request.noted = self._chain.append(db, entry)

    def _shown(self, outcome: Outcome, before: ExamVersion | None) -> tuple[str, ...]:
        """The prompts of the exam version that answers this attempt; a refusal shows none."""
        if outcome is Outcome.CREATED:
            return self._version.shown
        # the repeat of a withdrawn exam is refused on the way out
        if outcome is not Outcome.SAME or before is None or before.status is _WITHDRAWN:
            return ()
        return before.shown

    def _action(self, before: ExamVersion | None) -> str:
        if self._expected is None:
            return "create"
        if self._version.status is _WITHDRAWN:
            return "withdraw"
        was_draft = before is not None and before.status is ExamStatus.PRELIMINARY
        closed = was_draft and self._version.status is not ExamStatus.PRELIMINARY
        return "close" if closed else "correct"


def _text(shown: tuple[str, ...]) -> str:
    return " ".join(shown)
