"""A posted FHIR transaction: back to the exam, in by the same way, and nothing of it lost.

FHIR R4 http 3.1.0.11.2. The report's entry says what is meant: POST is a new exam, PUT another
version of a stored one, PUT with a report entered in error its withdrawal. The reason of a change
is that of the Provenance; the version it changes is the one in ifMatch, or else the one that the
Provenance says was revised.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice
from typing import TYPE_CHECKING, Any, NamedTuple

import orjson

from brachium.coding.decode import Unreadable, decode
from brachium.coding.identity import Ids, exam_id
from brachium.coding.response import TYPE as FORM
from brachium.exam.canonical import canonical, digest
from brachium.formats.incoming import Entry, Identity, identity_of, parse, placed, read, write
from brachium.intake import change, receive
from brachium.intake.keeping import (
    PROVENANCE,
    Kept,
    assembled_anew,
    is_assembler,
    party_problems,
    revised,
)
from brachium.intake.links import Links
from brachium.intake.places import located
from brachium.intake.receipt import Outcome, Receipt
from brachium.intake.refusals import NOT_OURS, NOT_STORED_YET
from brachium.intake.restate import IN_ERROR
from brachium.records import ExamStatus, ExamVersion

if TYPE_CHECKING:
    from brachium.exam.findings import Exam
    from brachium.intake.desk import Desk
    from brachium.problems import Problem
    from brachium.records import StoredResource

Json = dict[str, Any]
REPORT = "DiagnosticReport"
# what is wrong everywhere need not be told everywhere
_MOST_PROBLEMS = 200
_DONE = frozenset({Outcome.CREATED, Outcome.CHANGED, Outcome.SAME})


class Transacted(NamedTuple):
    """What became of a transaction: the receipt, and for each entry the resource it is now.

    Problems have their places in the bundle; ``place`` is that of the report.
    """

    receipt: Receipt
    rows: tuple[StoredResource, ...] = ()
    place: str = "Bundle"


class _Lost(Exception):
    """Something posted would not be stored."""

    def __init__(self, outcome: Outcome, problems: Sequence[Problem]) -> None:
        super().__init__(outcome)
        self.receipt = Receipt(outcome, tuple(problems))


def transact(desk: Desk, bundle: Json, base: str) -> Transacted:
    """Process a Bundle of type transaction, parsed with fractions as ``Decimal``.

    ``base`` is the public address of the FHIR interface. All or nothing is stored (TXN-02).
    """
    incoming = read(bundle)
    if incoming.problems:
        return Transacted(Receipt(Outcome.BROKEN, incoming.problems))
    try:
        return _Transaction(desk, incoming.entries, base).made()
    except _Lost as lost:
        return Transacted(lost.receipt)


def _refused(*problems: Problem) -> _Lost:
    return _Lost(Outcome.REFUSED, problems)


@dataclass(frozen=True)
class _Transaction:
    desk: Desk
    entries: tuple[Entry, ...]
    base: str

    def made(self) -> Transacted:
        raw = canonical(self._examined)
        form = any(entry.type == FORM for entry in self.entries)
        looking = replace(self.desk, look=self._look, form=form)
        receipt = self._done(looking, raw)
        problems = tuple(located(receipt.problems, raw, self.entries))
        if receipt.exam is None or receipt.outcome not in _DONE:
            return Transacted(replace(receipt, problems=problems), (), self._report.place)
        rows = tuple(self._rows(receipt.exam))
        receipt = replace(receipt, problems=(*problems, *self._anew))
        return Transacted(receipt, rows, self._report.place)

    @cached_property
    def _report(self) -> Entry:
        """The one report: an exam is one, and never splits (TXN-11)."""
        found = [entry for entry in self.entries if entry.type == REPORT]
        if not found:
            message = "The bundle has no report, so it holds no whole exam."
            raise _refused(placed(NOT_OURS.problem("", message, "required"), "Bundle.entry"))
        if len(found) > 1:
            message = "A transaction holds one exam, and this is the report of another."
            raise _refused(placed(NOT_OURS.problem("", message), found[1].place))
        return found[0]

    @cached_property
    def _provenance(self) -> Entry | None:
        found = [entry for entry in self.entries if entry.type == PROVENANCE]
        if len(found) > 1:
            message = "One Provenance tells how this version of the exam came about."
            raise _refused(placed(NOT_OURS.problem("", message), found[1].place))
        return found[0] if found else None

    @cached_property
    def _links(self) -> Links:
        return Links(self.entries, self.desk.store, self.base)

    @cached_property
    def _stated(self) -> dict[int, Json]:
        """The resources by entry, their references followed."""
        found = {
            entry.index: self._links.followed(_without_revisions(entry.resource), entry.place)
            for entry in self.entries
        }
        if self._links.problems:
            raise _refused(*self._links.problems)
        return found

    @cached_property
    def _examined(self) -> Exam:
        """The exam that the bundle tells, checked by every rule."""
        raw = self._raw
        examined = self.desk.examine(raw)
        if examined.exam is None:
            raise _refused(*located(examined.problems, raw, self.entries))
        return examined.exam

    @cached_property
    def _raw(self) -> bytes:
        report, stated = self._report, self._stated
        named = [
            {**stated[entry.index], "id": entry.name.partition("/")[2]} for entry in self.entries
        ]
        resources = [*named, *self._links.found.values()]
        bundle = {"entry": [{"resource": one} for one in resources]}
        try:
            decoded = decode(bundle, self.desk.tables, self.desk.coding.canonical)
            raw = write(decoded.exam)
        except Unreadable as unreadable:
            raise _refused(self._unread(unreadable.resource)) from None
        except (LookupError, TypeError, ValueError):
            raise _refused(self._unread(report.name)) from None
        if decoded.problems:
            raise _refused(*(placed(one, report.place) for one in decoded.problems))
        return raw

    def _unread(self, identity: str) -> Problem:
        where = next(
            (one.place for one in self.entries if one.name.endswith(f"/{identity}")),
            self._report.place,
        )
        message = "This is not a resource of our profile, or a part of it is missing or unknown."
        return placed(NOT_OURS.problem("", message), where)

    def _done(self, looking: Desk, raw: bytes) -> Receipt:
        if self._report.method == "POST":
            return receive.receive(looking, raw)
        current = self.desk.store.exam(exam_id(self._examined.identifier), None)
        if current is None:
            message = "This exam is not stored here, so there is no version to follow."
            problem = NOT_STORED_YET.problem("", message, "not-found")
            raise _refused(placed(problem, self._report.place))
        withdrawal = self._report.resource.get("status") == IN_ERROR
        same_kind = withdrawal == (current.status is ExamStatus.ENTERED_IN_ERROR)
        if same_kind and digest(raw) == current.digest:
            return self._repeated(current)
        if withdrawal:
            return change.withdraw(looking, current.id, self._reason, self._expected)
        return change.correct(looking, current.id, raw, self._reason, self._expected)

    def _repeated(self, current: ExamVersion) -> Receipt:
        """A change that was made before changes nothing (TXN-05)."""
        texts = [row.text for row in self.desk.store.resources(current.id, current.version)]
        self._compare(Kept.of(texts, self._record_of(current)))
        return Receipt(Outcome.SAME, (), current)

    def _record_of(self, version: ExamVersion) -> str:
        return Ids(version.id).of(f"{PROVENANCE}/{version.version}")

    @property
    def _reason(self) -> str:
        given = self._provenance.resource.get("reason") if self._provenance else None
        first = given[0] if isinstance(given, list) and given else None
        text = first.get("text") if isinstance(first, dict) else None
        return text if isinstance(text, str) else ""

    @property
    def _expected(self) -> int | None:
        if self._report.expected is not None or self._provenance is None:
            return self._report.expected
        entities = self._provenance.resource.get("entity")
        found = [revised(one) for one in entities] if isinstance(entities, list) else []
        return next((one[1] for one in found if one and one[0] == REPORT and one[1]), None)

    def _look(self, version: ExamVersion) -> None:
        """Compare what is about to be stored with what was posted."""
        kept = Kept.of(
            (one.text(one.version or 1, version.recorded) for one in version.resources),
            self._record_of(version),
        )
        stored = self.desk.store.exam(version.id, None)
        # the repeat of an exam stays one, whatever became of the patient's facts since
        if stored is None or version.version > 1:
            faults = tuple(party_problems(self.entries, self._held, self._stated))
            if faults:
                raise _Lost(Outcome.CONFLICT, faults)
        self._compare(kept)

    def _compare(self, kept: Kept) -> None:
        own = kept.own_names(self.entries)
        stated = {index: _renamed(one, own) for index, one in self._stated.items()}
        faults = tuple(islice(kept.problems(self.entries, stated), _MOST_PROBLEMS))
        if faults:
            raise _refused(*faults)

    @property
    def _held(self) -> dict[Identity, Json]:
        """The stored resources of the parties that are entries."""
        found: dict[Identity, Json] = {}
        for own, entry in self._links.parties.items():
            kind, _, identity = own.partition("/")
            row = self.desk.store.read(kind, identity)
            if row is not None and entry.identity:
                found[entry.identity] = parse(row.text)
        return found

    @property
    def _anew(self) -> tuple[Problem, ...]:
        entry = self._provenance
        agents = entry.resource.get("agent") if entry else None
        if entry is None or not isinstance(agents, list):
            return ()
        found = (index for index, one in enumerate(agents) if is_assembler(one))
        return tuple(assembled_anew(f"{entry.place}.agent[{index}]") for index in found)

    def _rows(self, exam: ExamVersion) -> Iterator[StoredResource]:
        stored = self.desk.store.resources(exam.id, exam.version)
        by_identity = {identity_of(orjson.loads(row.text)): row for row in stored}
        record = self.desk.store.read(PROVENANCE, self._record_of(exam))
        for entry in self.entries:
            row = by_identity.get(entry.identity) if entry.identity else record
            if row is None:
                raise RuntimeError("what was compared before it was stored is not there")
            yield row


def _without_revisions(resource: Json) -> Json:
    """Leave out of a Provenance what it revised: those are versions of the server it comes from."""
    entities = resource.get("entity")
    if resource["resourceType"] != PROVENANCE or not isinstance(entities, list):
        return resource
    return {**resource, "entity": [one for one in entities if revised(one) is None]}


def _renamed(value: Any, names: Mapping[str, str]) -> Any:  # noqa: ANN401 - JSON
    if isinstance(value, list):
        return [_renamed(one, names) for one in value]
    if not isinstance(value, dict):
        return value
    return {
        name: names.get(one, one)
        if name == "reference" and isinstance(one, str)
        else _renamed(one, names)
        for name, one in value.items()
    }
