"""The service's own rules over resources of ours: an exam read back and examined, not stored."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeAlias

from brachium.coding.decode import decode
from brachium.coding.decode_finding import side_problem
from brachium.coding.response_reading import everything_wrong, read_response
from brachium.exam.reading import examine
from brachium.formats import incoming
from brachium.profiles import remarks

if TYPE_CHECKING:
    from brachium.exam.rule import ModelOptions
    from brachium.problems import Problem
    from brachium.profiles.remarks import Remarks
    from brachium.tables.load import Tables

Json: TypeAlias = Any

# what reading back raises for a resource that says too little or contradicts itself
_UNREADABLE = (LookupError, TypeError, AttributeError, ValueError, StopIteration)


class OwnRules:
    """Judges what already has the right shape."""

    def __init__(self, tables: Tables, canonical: str, model: ModelOptions) -> None:
        self._tables = tables
        self._canonical = canonical
        self._model = model

    def judge(self, resource: Json, found: Remarks) -> None:
        """Add the problems of a form, or of an Observation or Bundle of ours in good shape."""
        kind = resource.get("resourceType") if isinstance(resource, dict) else ""
        if kind == "QuestionnaireResponse":
            self._form(resource, found)
        elif kind == "Bundle" and not found.errors:
            self._bundle(resource, found)
        elif kind == "Observation" and not found.errors:
            self._side(resource, "Observation", found)

    def _form(self, response: Json, found: Remarks) -> None:
        read = read_response(response, self._tables, self._canonical)
        if read.exam is None:
            found.add(everything_wrong(read, self._tables, self._model))
            return
        problems = examine(read.content(), self._tables, self._model).problems
        found.add((*read.problems, *read.placed(problems)))

    def _side(self, observation: Json, place: str, found: Remarks) -> None:
        try:
            problem = side_problem(observation, self._tables, self._canonical)
        except _UNREADABLE:
            text = "The side cannot be read: a laterality has to say left, right or both."
            found.say(remarks.NOT_OURS, f"{place}.bodySite", text, "business-rule")
            return
        if problem is not None:
            found.add([replace(problem, place=f"{place}.bodySite", pointer="")])

    def _bundle(self, bundle: Json, found: Remarks) -> None:
        flat = relative(bundle)
        try:
            decoded = decode(flat, self._tables, self._canonical)
        except _UNREADABLE:
            text = "The Bundle cannot be read back as one exam."
            found.say(remarks.NOT_OURS, "Bundle", text, "business-rule")
            return
        for index, entry in enumerate(flat["entry"]):
            if entry["resource"]["resourceType"] == "Observation":
                self._side(entry["resource"], f"Bundle.entry[{index}].resource", found)
        exam = incoming.write(decoded.exam)
        places = _places(flat, decoded.exam)
        problems = examine(exam, self._tables, self._model).problems
        found.add(_placed(one, places) for one in problems)


def _placed(problem: Problem, places: Mapping[str, str]) -> Problem:
    """Return a problem of the exam with the place of the resource that says it."""
    parts = problem.pointer.split("/")
    about = "/".join(parts[1:3]) if parts[1:2] == ["findings"] else ""
    return replace(problem, place=places.get(about, places[""]), pointer="")


def _places(flat: Json, exam: Json) -> dict[str, str]:
    """Return where each finding is: by ``findings/index``, and by an empty name the report."""
    resources = [entry["resource"] for entry in flat["entry"]]
    at = {
        one["identifier"][0]["value"]: f"Bundle.entry[{index}].resource"
        for index, one in reversed(list(enumerate(resources)))
        if one["resourceType"] in ("Observation", "DiagnosticReport")
    }
    whole = exam["identifier"]["value"]
    found = {"": at.get(whole, "Bundle")}
    for index, finding in enumerate(exam["findings"]):
        key = f"{whole}/{finding['key']}"
        place = at.get(key) or at.get(f"{key}/left") or at.get(f"{key}/right") or found[""]
        found[f"findings/{index}"] = place
    return found


def relative(bundle: Json) -> Json:
    """Return the bundle with ids and relative references, whatever its entries are called.

    A transaction names its entries urn:uuid, a document by absolute addresses; reading back wants
    ``Type/id``, as the stored text has it.
    """
    names = dict(_names(bundle))
    entries = []
    for entry in bundle["entry"]:
        resource = _repointed(entry["resource"], names)
        name = names.get(entry["fullUrl"], "")
        entries.append({"resource": {**resource, "id": name.rpartition("/")[2]}})
    return {"entry": entries}


def _names(bundle: Json) -> Iterator[tuple[str, str]]:
    for entry in bundle["entry"]:
        url = entry["fullUrl"]
        identity = url.replace(":", "/").rpartition("/")[2]
        yield url, f"{entry['resource']['resourceType']}/{identity}"


def _repointed(value: Json, names: Mapping[str, str]) -> Json:
    if isinstance(value, dict):
        return {
            key: names.get(part, part)
            if key == "reference" and isinstance(part, str)
            else _repointed(part, names)
            for key, part in value.items()
        }
    return [_repointed(one, names) for one in value] if isinstance(value, list) else value
