"""Searching what is not in the store: the definitions, which are few and always at hand.

The same criteria as the store's, asked of search values in the store's shapes; a test holds both to
the same answers.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from brachium.api.search_parameters import Parameter
from brachium.store.criteria import Code, Criterion, Is, Match, NoSystem, Present, System, Text

Values: TypeAlias = Mapping[str, Sequence[str]]
Json: TypeAlias = Any


def values_of(resource: Json, parameters: Iterable[Parameter]) -> dict[str, list[str]]:
    """Return the search values of a resource by parameter, read at the paths of the rows."""
    found = {one.name: _texts(resource, one) for one in parameters if one.path}
    return {**found, "_id": [resource["id"]]}


def _texts(resource: Json, parameter: Parameter) -> list[str]:
    found = list(elements_at(resource, parameter.path))
    if parameter.type == "token":
        return [_token(one, parameter.system) for one in found]
    return [str(one) for one in found]


def _token(element: Json, system: str) -> str:
    if isinstance(element, dict):
        code = element.get("code", element.get("value", ""))
        return f"{element.get('system', '')}|{code}"
    return f"{system}|{str(element).lower() if isinstance(element, bool) else element}"


def elements_at(resource: Json, path: str) -> Iterator[Json]:
    """Yield every element at a path of member names with dots; lists are looked through."""
    here: list[Json] = [resource]
    for name in path.split("."):
        here = [one[name] for one in here if isinstance(one, dict) and name in one]
        here = [item for one in here for item in (one if isinstance(one, list) else [one])]
    yield from here


def holds(criterion: Criterion, values: Values) -> bool:
    """Tell whether a criterion is met."""
    found = [value for name in criterion.parameters for value in values.get(name, ())]
    met = any(_meets(match, found) for match in criterion.matches)
    return met is not criterion.negated


def _meets(match: Match, found: Sequence[str]) -> bool:
    if isinstance(match, Present):
        return bool(found) is match.present
    return any(_is(match, value) for value in found)


def _is(match: Match, value: str) -> bool:
    if isinstance(match, Is):
        return value == match.value
    if isinstance(match, Text):
        return folded(value).startswith(folded(match.start))
    system, _, code = value.partition("|")
    if isinstance(match, Code):
        return code == match.code
    if isinstance(match, NoSystem):
        return (system, code) == ("", match.code)
    if isinstance(match, System):
        return system == match.system
    raise TypeError(type(match).__name__)


def folded(text: str) -> str:
    """Return text without case and accents (FHIR R4 search 3.1.1.4.8)."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parts if not unicodedata.combining(letter))
