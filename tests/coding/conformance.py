"""Does a QuestionnaireResponse conform to its Questionnaire? Written from FHIR R4 alone.

Nothing of the service is used here: linkIds nested as defined, types, required, repeats, options,
units, lengths and enableWhen are judged by the two resources as they leave.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

Json = dict[str, Any]
_EXTENSION = "http://hl7.org/fhir/StructureDefinition/"
_VALUES = {
    "boolean": ("valueBoolean", bool),
    "choice": ("valueCoding", dict),
    "date": ("valueDate", str),
    "dateTime": ("valueDateTime", str),
    "decimal": ("valueDecimal", (int, Decimal)),
    "quantity": ("valueQuantity", dict),
    "reference": ("valueReference", dict),
    "string": ("valueString", str),
    "text": ("valueString", str),
}


def complaints(response: Json, questionnaire: Json) -> list[str]:
    """Say everything in which the response does not conform."""
    named = f"{questionnaire['url']}|{questionnaire['version']}"
    found = [] if response["questionnaire"] == named else ["another questionnaire"]
    lists = {
        f"#{one['id']}": [
            (part["system"], concept["code"])
            for part in one["compose"]["include"]
            for concept in part["concept"]
        ]
        for one in questionnaire["contained"]
    }
    return found + list(_group(response, questionnaire, "response", lists))


def _group(group: Json, definition: Json, where: str, lists: Json) -> Iterator[str]:
    known = {item["linkId"]: item for item in definition["item"]}
    order = list(known)
    links = [item["linkId"] for item in group.get("item", ())]
    if strangers := set(links) - set(known):
        yield f"{where}: not asked here {strangers}"
        return
    if [order.index(link) for link in links] != sorted(order.index(link) for link in links):
        yield f"{where}: not in the order of the questionnaire"
    for link, item in known.items():
        asked = _enabled(item, group)
        if links.count(link) > 1 and not (item["type"] == "group" and item.get("repeats")):
            yield f"{where}: {link} stands there twice"
        if link in links and not asked:
            yield f"{where}: {link} is answered and not asked"
        if item.get("required") and asked and link not in links:
            yield f"{where}: {link} is missing"
    for number, item in enumerate(group.get("item", ())):
        yield from _item(item, known[item["linkId"]], f"{where}.item[{number}]", lists)


def _enabled(item: Json, group: Json) -> bool:
    conditions = item.get("enableWhen", ())
    if len(conditions) > 1:
        assert item["enableBehavior"] == "any"
    given = {
        (one["linkId"], answer["valueCoding"]["system"], answer["valueCoding"]["code"])
        for one in group["item"]
        for answer in one.get("answer", ())
        if "valueCoding" in answer
    }
    wanted = {
        (one["question"], one["answerCoding"]["system"], one["answerCoding"]["code"])
        for one in conditions
        if one["operator"] == "="
    }
    assert len(wanted) == len(conditions)
    return not conditions or bool(wanted & given)


def _item(item: Json, definition: Json, where: str, lists: Json) -> Iterator[str]:
    if definition["type"] == "group":
        if "answer" in item or not item.get("item"):
            yield f"{where}: a group has items and no answers"
        yield from _group(item, definition, where, lists)
        return
    answers = item.get("answer", ())
    if "item" in item or not answers:
        yield f"{where}: a question has answers"
    most = next((x["valueInteger"] for x in _of(definition, "questionnaire-maxOccurs")), None)
    if len(answers) > (most or len(answers) if definition.get("repeats") else 1):
        yield f"{where}: {len(answers)} answers"
    for answer in answers:
        name, kind = _VALUES[definition["type"]]
        if set(answer) != {name} or not isinstance(answer[name], kind):
            yield f"{where}: {set(answer)} where {name} is due"
        else:
            yield from _value(answer[name], definition, where, lists)


def _of(definition: Json, name: str) -> list[Json]:
    return [x for x in definition.get("extension", ()) if x["url"] == _EXTENSION + name]


def _value(value: Any, definition: Json, where: str, lists: Json) -> Iterator[str]:
    kind = definition["type"]
    if kind == "choice" and (value["system"], value["code"]) not in _options(definition, lists):
        yield f"{where}: {value['code']} is not offered"
    if kind == "quantity":
        units = [x["valueCoding"] for x in _of(definition, "questionnaire-unitOption")]
        said = {"system": value["system"], "code": value["code"], "display": value["unit"]}
        if said not in units:
            yield f"{where}: unit {value['code']} is not offered"
    if kind == "reference":
        (target,) = _of(definition, "questionnaire-referenceResource")
        if value["type"] != target["valueCode"]:
            yield f"{where}: a {value['type']}"
    yield from _bounds(value, definition, where)


def _options(definition: Json, lists: Json) -> list[tuple[str, str]]:
    inside = [one["valueCoding"] for one in definition.get("answerOption", ())]
    options = [(one["system"], one["code"]) for one in inside]
    return [*options, *lists.get(definition.get("answerValueSet"), ())]


def _bounds(value: Any, definition: Json, where: str) -> Iterator[str]:
    for bound in _of(definition, "minValue"):
        if value < bound["valueDecimal"]:
            yield f"{where}: below {bound['valueDecimal']}"
    for bound in _of(definition, "maxValue"):
        if value > bound["valueDecimal"]:
            yield f"{where}: above {bound['valueDecimal']}"
    for form in _of(definition, "regex"):
        if not re.fullmatch(form["valueString"], value):
            yield f"{where}: not of the form"
    if "maxLength" in definition and len(value) > definition["maxLength"]:
        yield f"{where}: too long"
