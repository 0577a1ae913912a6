"""An exam as FHIR R4 QuestionnaireResponse to our Questionnaire: the same exam, the same bytes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import orjson

from brachium.coding.fhir import UCUM, OwnUrls
from brachium.coding.form import Choice, Item, matches, word_of
from brachium.coding.form_tree import form_of
from brachium.coding.jsontext import fragment
from brachium.coding.questionnaire import coding, questionnaire_url
from brachium.exam.findings import Converted, Exam, Finding

if TYPE_CHECKING:
    from brachium.tables.load import Tables

# QuestionnaireResponse.status by the status of the exam version (R4 questionnaire-answers-status)
STATUSES = {
    "preliminary": "in-progress",
    "final": "completed",
    "amended": "amended",
    "corrected": "amended",
    "entered-in-error": "entered-in-error",
}
# what the exam said when it was posted, as far as the status of the response tells
TOLD = {"in-progress": "preliminary", "completed": "final"}
Said = Mapping[str, Any]


def write_response(
    exam: Exam, tables: Tables, canonical: str, *, status: str = "", authored: str = ""
) -> bytes:
    """Return the response as JSON text.

    ``status`` is that of the exam version (``exam.status`` when empty), ``authored`` the moment it
    was recorded. Raises ``LookupError`` for an exam that these tables cannot say.
    """
    content = response_content(exam, tables, canonical, status=status, authored=authored)
    return orjson.dumps({"resourceType": "QuestionnaireResponse", **content})


def response_content(
    exam: Exam, tables: Tables, canonical: str, *, status: str = "", authored: str = ""
) -> dict[str, Any]:
    """Return every member of the response except ``resourceType``; raises as its caller does."""
    told = STATUSES[status or exam.status]
    found: dict[str, Any] = {}
    if TOLD.get(told, "final") != exam.status:
        url = OwnUrls(canonical).definition("exam-status")
        found["extension"] = [{"url": url, "valueCode": exam.status}]
    found["identifier"] = _identifier(exam.identifier)
    found["questionnaire"] = f"{questionnaire_url(canonical)}|{tables.edition}"
    found["status"] = told
    found["subject"] = _party("Patient", exam.patient.identifier)
    if exam.encounter is not None:
        found["encounter"] = _party("Encounter", exam.encounter.identifier)
    if authored:
        found["authored"] = authored
    found["author"] = _party("Practitioner", exam.examiner.identifier)
    found["item"] = list(_Sections(exam, tables, canonical).items())
    return found


def _identifier(by: Any) -> dict[str, str]:  # noqa: ANN401 - Identifier or its members
    by = by if isinstance(by, dict) else by.model_dump()
    return {"system": by["system"], "value": by["value"]}


def _party(kind: str, by: Any) -> dict[str, Any]:  # noqa: ANN401
    return {"type": kind, "identifier": _identifier(by)}


class _Sections:
    """The items of one exam."""

    def __init__(self, exam: Exam, tables: Tables, canonical: str) -> None:
        self._form = form_of(tables, canonical)
        self._units = tables.units
        self._head = _flat(exam.model_dump(by_alias=True, exclude_none=True, exclude={"findings"}))
        self._findings: dict[str, list[dict[str, Any]]] = {}
        for finding in exam.findings:
            said = _said(finding)
            group = self._form.group(said)
            self._findings.setdefault(group.link, []).append(self._finding(group, said))

    def items(self) -> Iterator[dict[str, Any]]:
        """Yield the sections that have answers, in the order of the form."""
        for item in self._form.items:
            yield from self._section(item)

    def _section(self, item: Item) -> Iterator[dict[str, Any]]:
        if item.finding:
            yield from self._findings.get(item.link, ())
        elif item.kind == "group":
            inside = [found for one in item.items for found in self._section(one)]
            if inside:
                yield {"linkId": item.link, "item": inside}
        else:
            answers = list(self._answers(item, self._head, set()))
            if answers:
                yield {"linkId": item.link, "answer": answers}

    def _finding(self, group: Item, said: Said) -> dict[str, Any]:
        done = {member for member, _ in group.words}
        picked: set[tuple[str, Choice]] = set()
        items = []
        for item in group.items:
            answers = list(self._answers(item, said, done)) if _asked(item, picked) else []
            if answers:
                picked |= {(item.link, one) for one in item.choices if matches(one.words, said)}
                items.append({"linkId": item.link, "answer": answers})
        if left := said.keys() - done:
            raise LookupError(f"the form has no question for {sorted(left)}")
        return {"linkId": group.link, "item": items}

    def _answers(self, item: Item, said: Said, done: set[str]) -> Iterator[dict[str, Any]]:
        """Yield the answers to a question, and add to ``done`` which members they say."""
        if not matches(item.words, said):
            return
        done |= {member for member, _ in item.words}
        if item.kind == "choice":
            yield from self._choices(item, said, done)
        elif not item.member:
            yield {"valueBoolean": True}
        elif item.member in said:
            done.add(item.member)
            value = said[item.member]
            for one in value if item.repeats else (value,):
                yield self._value(item, one)

    def _choices(self, item: Item, said: Said, done: set[str]) -> Iterator[dict[str, Any]]:
        picked = _several(item, said) if item.repeats else _one(item, said)
        for choice in picked:
            done |= {member for member, _ in choice.words}
            yield {"valueCoding": coding(choice)}

    def _value(self, item: Item, value: Any) -> dict[str, Any]:  # noqa: ANN401
        if item.kind == "quantity":
            unit = self._units[value["unit"]]
            amount = fragment(value["value"])
            coded = {"value": amount, "unit": unit.label, "system": UCUM, "code": unit.ucum}
            return {"valueQuantity": coded}
        if item.kind == "reference":
            return {"valueReference": _party(item.refers, value)}
        if isinstance(value, Decimal):
            return {"valueDecimal": fragment(value)}
        return {VALUES[item.kind]: value}


# the member of QuestionnaireResponse.item.answer, by type of item (R4 item-type)
VALUES = {
    "boolean": "valueBoolean",
    "choice": "valueCoding",
    "date": "valueDate",
    "dateTime": "valueDateTime",
    "decimal": "valueDecimal",
    "quantity": "valueQuantity",
    "reference": "valueReference",
    "string": "valueString",
    "text": "valueString",
}


def _one(item: Item, said: Said) -> Iterator[Choice]:
    for choice in item.choices:
        if matches(choice.words, said):
            yield choice
            return


def _several(item: Item, said: Said) -> Iterator[Choice]:
    """Yield the choice of each word of a list, in the order of the list."""
    member = item.choices[0].words[0][0]
    by_word = {word_of(choice, member): choice for choice in item.choices}
    for word in said.get(member, ()):
        if word not in by_word:
            raise LookupError("the form does not offer this word")
        yield by_word[word]


def _asked(item: Item, picked: set[tuple[str, Choice]]) -> bool:
    when = item.when
    return when is None or any((when.link, choice) in picked for choice in when.choices)


def _flat(members: dict[str, Any]) -> dict[str, Any]:
    """Return the head with places as keys: ``patient/birthDate``; identifiers stay whole."""
    flat: dict[str, Any] = {}
    for name, value in members.items():
        if isinstance(value, dict) and name != "identifier":
            flat |= {f"{name}/{inner}": one for inner, one in value.items()}
        else:
            flat[name] = value
    return flat


def _said(finding: Finding) -> dict[str, Any]:
    """Return the members of a finding that say something; a converted quantity as posted."""
    said: dict[str, Any] = {}
    fields = type(finding).model_fields
    for name, value in finding.__dict__.items():
        if value is None or value == ():
            continue
        key = fields[name].alias or name
        if name == "absent":
            said |= {
                f"absent/{inner}": word
                for inner, word in (("reason", value.reason), ("because", value.because))
                if word
            }
        else:
            said[key] = _plain(value)
    return said


def _plain(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, Converted):
        value = value.original
    if hasattr(value, "unit"):
        return {"value": value.value, "unit": value.unit}
    return [_plain(one) for one in value] if isinstance(value, tuple) else value
