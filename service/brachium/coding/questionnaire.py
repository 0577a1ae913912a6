"""The form of an exam as FHIR R4 Questionnaire, made of the tables.

Lists that several questions share are contained ValueSets, so that a form filler needs nothing but
the one resource. Findings are repeating groups: an instance for each finding.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

import orjson

from brachium.coding.fhir import UCUM, OwnUrls
from brachium.coding.form import Choice, Item, When
from brachium.coding.form_tree import form_of
from brachium.exam.rule import ModelOptions

if TYPE_CHECKING:
    from brachium.tables.load import Tables
    from brachium.tables.rows import Unit

IDENTITY = "arm-exam"
_CONCEPT = "arm-exam-report"
_EXTENSION = "http://hl7.org/fhir/StructureDefinition/"


def questionnaire_url(canonical: str) -> str:
    """Return the canonical URL of the Questionnaire, without its version."""
    return f"{canonical}/Questionnaire/{IDENTITY}"


def questionnaire(
    tables: Tables, canonical: str, options: ModelOptions | None = None
) -> dict[str, Any]:
    """Return the Questionnaire as plain JSON.

    ``options`` are those that exams are examined with: what is refused is not offered.
    """
    form = form_of(tables, canonical, options or ModelOptions())
    writer = _Writer(tables, canonical)
    return {
        "resourceType": "Questionnaire",
        "id": IDENTITY,
        "contained": list(_value_sets(form.items)),
        "url": questionnaire_url(canonical),
        "version": tables.edition,
        "name": "ArmExam",
        "title": tables.concepts[_CONCEPT].display,
        "status": "active",
        "experimental": False,
        "subjectType": ["Patient"],
        "description": "One examination of a patient's arms: what was seen, how far each joint "
        "moves, what was felt, how strong. Every finding is one instance of a repeating group and "
        "says which side it is about.",
        "code": [writer.own(_CONCEPT)],
        "item": [writer.item(item) for item in form.items],
    }


def questionnaire_text(
    tables: Tables, canonical: str, options: ModelOptions | None = None
) -> bytes:
    """Return the Questionnaire as JSON text."""
    return orjson.dumps(questionnaire(tables, canonical, options))


def _value_sets(items: Iterable[Item]) -> Iterator[dict[str, Any]]:
    lists: dict[str, tuple[Choice, ...]] = {}
    for item in _all(items):
        if item.shared:
            lists.setdefault(item.shared, item.choices)
    for name, choices in sorted(lists.items()):
        concepts = [{"code": one.code, "display": one.display} for one in choices]
        include = [{"system": choices[0].system, "concept": concepts}]
        yield {
            "resourceType": "ValueSet",
            "id": name,
            "status": "active",
            "compose": {"include": include},
        }


def _all(items: Iterable[Item]) -> Iterator[Item]:
    for item in items:
        yield item
        yield from _all(item.items)


def coding(choice: Choice) -> dict[str, str]:
    """Return a choice as Coding."""
    return {"system": choice.system, "code": choice.code, "display": choice.display}


class _Writer:
    def __init__(self, tables: Tables, canonical: str) -> None:
        self._tables = tables
        self._system = OwnUrls(canonical).concepts

    def own(self, concept: str) -> dict[str, str]:
        display = self._tables.concepts[concept].display
        return {"system": self._system, "code": concept, "display": display}

    def item(self, item: Item) -> dict[str, Any]:
        """Return an item; what is empty or false is left out, as FHIR wants it."""
        found: dict[str, Any] = {
            "extension": list(_extensions(item)),
            "linkId": item.link,
            "code": [self.own(item.concept)] if item.concept else [],
            "prefix": item.prefix,
            "text": item.text,
            "type": item.kind,
            "enableWhen": list(_conditions(item.when)) if item.when else [],
            "enableBehavior": "any" if item.when and len(item.when.choices) > 1 else "",
            "required": item.required,
            "repeats": item.repeats,
            "maxLength": item.longest,
            "answerValueSet": f"#{item.shared}" if item.shared else "",
            "answerOption": []
            if item.shared
            else [{"valueCoding": coding(choice)} for choice in item.choices],
            "item": [self.item(one) for one in item.items],
        }
        return {name: value for name, value in found.items() if value}


def _conditions(when: When) -> Iterator[dict[str, Any]]:
    for choice in when.choices:
        answer = {"system": choice.system, "code": choice.code}
        yield {"question": when.link, "operator": "=", "answerCoding": answer}


def _extensions(item: Item) -> Iterator[dict[str, Any]]:
    if item.hidden:
        yield {"url": _EXTENSION + "questionnaire-hidden", "valueBoolean": True}
    if item.form:
        yield {"url": _EXTENSION + "regex", "valueString": item.form}
    if item.refers:
        yield {"url": _EXTENSION + "questionnaire-referenceResource", "valueCode": item.refers}
    if item.most is not None:
        yield {"url": _EXTENSION + "questionnaire-maxOccurs", "valueInteger": item.most}
    if item.bounds is not None:
        low, high = item.bounds
        yield {"url": _EXTENSION + "minValue", "valueDecimal": low}
        yield {"url": _EXTENSION + "maxValue", "valueDecimal": high}
    for unit in item.units:
        yield {"url": _EXTENSION + "questionnaire-unitOption", "valueCoding": unit_coding(unit)}


def unit_coding(unit: Unit) -> dict[str, str]:
    """Return a unit as Coding of UCUM."""
    return {"system": UCUM, "code": unit.ucum, "display": unit.label}
