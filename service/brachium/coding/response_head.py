"""The head of a response: what FHIR has an element for, and so is not asked as a question."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

from brachium.coding import response_problems as listed
from brachium.coding.fhir import OwnUrls
from brachium.coding.questionnaire import questionnaire_url
from brachium.coding.response_problems import Complaints
from brachium.coding.response_values import Values
from brachium.coding.response_writing import STATUSES, TOLD

if TYPE_CHECKING:
    from brachium.tables.load import Tables

Json: TypeAlias = Any
ROOT = "QuestionnaireResponse"
_KEPT = {
    "resourceType",
    "extension",
    "identifier",
    "questionnaire",
    "status",
    "subject",
    "encounter",
    "author",
    "item",
}
# the server's own, or only a copy of the answers in words
_SET_HERE = {"id", "meta", "language", "text", "authored"}
_META_SET_HERE = {"versionId", "lastUpdated", "source", "profile"}
_TEXT_COPIES = {"generated", "extensions", "empty"}
_PARTIES = (
    ("subject", "Patient", "patient", True),
    ("author", "Practitioner", "examiner", True),
    ("encounter", "Encounter", "encounter", False),
)


class Head:
    """Reads everything but the items; places go to ``places`` by JSON pointer into the exam."""

    def __init__(self, tables: Tables, canonical: str, complaints: Complaints) -> None:
        self._edition = tables.edition
        self._url = questionnaire_url(canonical)
        self._extension = OwnUrls(canonical).definition("exam-status")
        self._complaints = complaints
        self.places: dict[str, str] = {"": ROOT}

    def read(self, resource: dict[str, Json], values: Values) -> dict[str, Json]:
        """Return the members of the exam that the head tells."""
        self._strangers(resource)
        self._questionnaire(resource.get("questionnaire"))
        exam: dict[str, Json] = {}
        place = f"{ROOT}.identifier"
        by = values.identifier(resource.get("identifier"), place, "exam")
        if by is not None:
            exam["identifier"] = by
            self._place("/identifier", place)
        status = self._status(resource)
        if status:
            exam["status"] = status
            self.places["/status"] = f"{ROOT}.status"
        for member, kind, name, required in _PARTIES:
            if required or member in resource:
                self._party(resource, exam, values, (member, kind, name))
        return exam

    def _place(self, pointer: str, place: str) -> None:
        self.places[pointer] = place
        for name in ("system", "value"):
            self.places[f"{pointer}/{name}"] = f"{place}.{name}"

    def _strangers(self, resource: dict[str, Json]) -> None:
        strangers = resource.keys() - _KEPT - _SET_HERE
        # names of FHIR's own elements are no patient data; others are not repeated
        for name in sorted(strangers & _ELEMENTS):
            self._complaints.add(listed.MEMBER, f"{ROOT}.{name}", f"{name} would be lost.")
        if strangers - _ELEMENTS:
            message = f"{len(strangers - _ELEMENTS)} members are not of a QuestionnaireResponse."
            self._complaints.add(listed.MEMBER, ROOT, message, "Correct or remove them.")
        self._meta(resource.get("meta", {}))
        text = resource.get("text")
        if text is not None and not (isinstance(text, dict) and text.get("status") in _TEXT_COPIES):
            message = "The narrative says more than the answers, and would be lost."
            self._complaints.add(listed.MEMBER, f"{ROOT}.text", message)
        for name in sorted(resource.keys() & (_SET_HERE - {"id", "meta"})):
            self._complaints.add(listed.NOT_KEPT, f"{ROOT}.{name}", f"{name} is not kept.")

    def _meta(self, meta: Json) -> None:
        if not isinstance(meta, dict) or meta.keys() - _META_SET_HERE:
            message = "Tags and security labels would be lost."
            self._complaints.add(listed.MEMBER, f"{ROOT}.meta", message)

    def _questionnaire(self, canonical: Json) -> None:
        place = f"{ROOT}.questionnaire"
        if canonical is None:
            self._complaints.add(listed.MISSING, place, "The questionnaire is not named.")
            return
        url, _, edition = str(canonical).partition("|")
        if url != self._url:
            self._complaints.add(
                listed.FOREIGN, place, "This is another questionnaire.", f"Answer {self._url}."
            )
        elif not edition:
            message = f"The edition is not named; it was read as {self._edition}."
            self._complaints.add(listed.EDITION, place, message)
        elif edition != self._edition:
            message = f"It was read as edition {self._edition}."
            self._complaints.add(listed.EDITION, place, message)

    def _status(self, resource: dict[str, Json]) -> str:
        status = resource.get("status")
        if not isinstance(status, str) or status not in STATUSES.values():
            message = "The status is missing, or is none that an exam has."
            self._complaints.add(listed.STATUS, f"{ROOT}.status", message)
            return ""
        return self._posted(resource.get("extension")) or TOLD.get(status, "final")

    def _posted(self, extensions: Json) -> str:
        """Return the status of the exam as it was posted, when the response names it."""
        if extensions is None:
            return ""
        one = extensions[0] if isinstance(extensions, list) and len(extensions) == 1 else None
        posted = one.get("valueCode") if isinstance(one, dict) else None
        known = isinstance(posted, str) and posted in TOLD.values()
        if known and one == {"url": self._extension, "valueCode": posted}:
            return str(posted)
        message = "Only our own extension about the status of the exam is known here."
        self._complaints.add(listed.MEMBER, f"{ROOT}.extension", message)
        return ""

    def _party(
        self,
        resource: dict[str, Json],
        exam: dict[str, Json],
        values: Values,
        who: tuple[str, str, str],
    ) -> None:
        member, kind, name = who
        place = f"{ROOT}.{member}"
        if member not in resource:
            message = f"The {name} is missing."
            self._complaints.add(listed.MISSING, place, message, "Give it by its identifier.")
            return
        by = values.party(kind, resource[member], place)
        if by is not None:
            exam[name] = {"identifier": by}
            self._place(f"/{name}/identifier", f"{place}.identifier")


# the other elements of QuestionnaireResponse (R4 4.0.1) and of every resource
_ELEMENTS = {"implicitRules", "contained", "modifierExtension", "basedOn", "partOf", "source"}
