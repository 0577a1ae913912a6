"""Small helpers for the tests of Questionnaire and responses."""

from __future__ import annotations

from functools import cache
from typing import Any

import jiter
from tests.coding.coded import CANONICAL, tables
from tests.conftest import CHECKOUT

from brachium.coding.questionnaire import questionnaire_text
from brachium.coding.response_reading import ReadResponse, read_response
from brachium.coding.response_writing import write_response
from brachium.exam.findings import Exam
from brachium.exam.rule import ModelOptions

EXAMPLES = sorted((CHECKOUT / "examples").glob("*.json"))
Json = dict[str, Any]


def parsed(text: bytes) -> Any:
    return jiter.from_json(text, float_mode="decimal")


@cache
def questionnaire(**options: bool) -> Json:
    return parsed(questionnaire_text(tables(), CANONICAL, ModelOptions(**options)))


def written(exam: Exam, **more: str) -> Json:
    return parsed(write_response(exam, tables(), CANONICAL, **more))


def read(response: Any) -> ReadResponse:
    return read_response(response, tables(), CANONICAL)


def example(name: str) -> Exam:
    return Exam.model_validate(parsed((CHECKOUT / "examples" / f"{name}.json").read_bytes()))


def at(response: Json, place: str) -> Any:
    """What stands at a FHIRPath place such as ``QuestionnaireResponse.item[2].answer[0]``."""
    found: Any = response
    for step in place.split(".")[1:]:
        name, _, index = step.partition("[")
        if name not in found:
            (name,) = (one for one in found if one.startswith(name) and one[len(name)].isupper())
        found = found[name]
        if index:
            found = found[int(index[:-1])]
    return found


def nodes(response: Json, place: str = "QuestionnaireResponse") -> list[tuple[str, Json]]:
    """Every item of a response with its place."""
    found = []
    for number, item in enumerate(response.get("item", ())):
        here = f"{place}.item[{number}]"
        found += [(here, item), *nodes(item, here)]
    return found


def findings(response: Json) -> list[tuple[str, Json]]:
    """Every finding of a response with its place."""
    return [
        (place, one)
        for place, one in nodes(response)
        if one["linkId"].endswith((".finding", ".whole"))
    ]
