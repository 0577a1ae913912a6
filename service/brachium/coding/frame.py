"""What all Observations of one exam version share: patient, time, examiner, ids, statuses."""

from __future__ import annotations

from brachium.coding.identity import Ids, exam_id, party_id
from brachium.coding.jsontext import dump, inside, members
from brachium.coding.options import Stamp
from brachium.exam.findings import Exam
from brachium.records import Resource

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
        self._tail = f',{self.shared},"performer":[{{"reference":"{self.examiner}"}}]}}'
        self._default = _LEAF_STATUS.get(stamp.report_status, "final")

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

    def status(self, key: str) -> str:
        """Return the Observation status of a leaf or derived key."""
        return self.stamp.statuses.get(key, self._default)

    def version(self, resource_id: str) -> int:
        """Return the version number that a resource of this exam gets."""
        return self.stamp.versions.get(resource_id, self.stamp.version)

    def identifier(self, key: str) -> str:
        """Return the identifier value of a finding (EXM-02)."""
        return f"{self._value}/{key}"

    def observation(self, key: str, status: str, *parts: str) -> Resource:
        """Wrap members of an Observation; ``parts`` joined are its JSON text without braces.

        ``key`` holds only letters, digits and ``._-/``, so that it needs no escaping.
        """
        resource_id = self.ids.of(f"Observation/{key}")
        body = "".join((self._head, key, '"}],"status":"', status, '",', *parts, self._tail))
        version = self.stamp.versions.get(resource_id, self.stamp.version)
        return Resource("Observation", resource_id, body.encode(), version, issued=True)
