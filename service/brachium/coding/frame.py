"""What all Observations of one exam version share: patient, time, examiner, ids, statuses."""

from __future__ import annotations

from brachium.coding.fhir import OBSERVATION_STATUS, REPORT_STATUS
from brachium.coding.identity import Ids, exam_id, party_id
from brachium.coding.jsontext import dump, inside, members
from brachium.coding.options import Stamp
from brachium.exam.findings import Exam
from brachium.records import Resource, SearchValue

# what a leaf without a status of its own has, by the status of the report
_LEAF_STATUS = {"preliminary": "preliminary", "entered-in-error": "entered-in-error"}


class Frame:
    """One exam version, ready to wrap what differs between its resources."""

    def __init__(self, exam: Exam, stamp: Stamp) -> None:
        self.exam = exam
        self.stamp = stamp
        self.id = exam_id(exam.identifier)
        self.ids = Ids(self.id)
        self.patient = f"Patient/{party_id('Patient', exam.patient.identifier)}"
        self.examiner = f"Practitioner/{party_id('Practitioner', exam.examiner.identifier)}"
        self.facility = f"Organization/{party_id('Organization', exam.facility.identifier)}"
        self._system = exam.identifier.system
        self._value = exam.identifier.value
        self._head = (
            f'{{"identifier":[{{"system":{dump(self._system)},"value":"{inside(self._value)}/'
        )
        self.shared = self._shared()
        self.search = self._search()
        self._tail = f',{self.shared},"performer":[{{"reference":"{self.examiner}"}}]}}'
        self._default = _LEAF_STATUS.get(stamp.report_status, "final")
        self._statuses: dict[str, SearchValue] = {}

    def _shared(self) -> str:
        exam = self.exam
        encounter = ""
        if exam.encounter is not None:
            by = exam.encounter.identifier
            logical = {"identifier": {"system": by.system, "value": by.value}}
            encounter = f',"encounter":{dump(logical)}'
        return (
            f'"subject":{{"reference":"{self.patient}"}}{encounter},'
            f"{members({'effectiveDateTime': exam.effective})}"
        )

    def _search(self) -> tuple[SearchValue, ...]:
        rows = [
            SearchValue("patient", self.patient),
            SearchValue("subject", self.patient),
            SearchValue("date", self.exam.effective),
            SearchValue("performer", self.examiner),
        ]
        if self.exam.encounter is not None:
            by = self.exam.encounter.identifier
            rows.append(SearchValue("encounter:identifier", f"{by.system}|{by.value}"))
        return tuple(rows)

    def status(self, key: str) -> str:
        """Return the Observation status of a leaf or derived key."""
        return self.stamp.statuses.get(key, self._default)

    def version(self, resource_id: str) -> int:
        """Return the version number that a resource of this exam gets."""
        return self.stamp.versions.get(resource_id, self.stamp.version)

    def identifier(self, key: str) -> str:
        """Return the identifier value of a finding (EXM-02)."""
        return f"{self._value}/{key}"

    def observation(
        self, key: str, status: str, search: tuple[SearchValue, ...], *parts: str
    ) -> Resource:
        """Wrap members of an Observation; ``parts`` joined are its JSON text without braces.

        ``key`` holds only letters, digits and ``._-/``, so that it needs no escaping.
        """
        resource_id = self.ids.of(f"Observation/{key}")
        body = "".join((self._head, key, '"}],"status":"', status, '",', *parts, self._tail))
        return Resource(
            "Observation",
            resource_id,
            body.encode(),
            self.stamp.versions.get(resource_id, self.stamp.version),
            True,
            (),
            (
                SearchValue("identifier", f"{self._system}|{self._value}/{key}"),
                self._status(status),
                *search,
                *self.search,
            ),
        )

    def _status(self, status: str) -> SearchValue:
        row = self._statuses.get(status)
        if row is None:
            row = SearchValue("status", f"{OBSERVATION_STATUS}|{status}")
            self._statuses[status] = row
        return row

    def report_status(self) -> SearchValue:
        """Return the search row of the report's status."""
        return SearchValue("status", f"{REPORT_STATUS}|{self.stamp.report_status}")
