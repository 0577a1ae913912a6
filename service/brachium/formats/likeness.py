"""What is in one resource and would be missing from another.

A posted resource is not stored; what the service makes of the exam is. Nothing may get lost on that
way, so everything posted must be found again; what the service adds is no loss.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any, TypeAlias

from brachium.formats.element_names import told

# JSON of any shape, fractions as Decimal
Json: TypeAlias = Any


def missing(posted: Json, made: Json, place: str) -> Iterator[str]:
    """Yield the place of everything in ``posted`` that ``made`` does not say too.

    Numbers are equal when their digits are: 12.50 says more than 12.5 (FHIR R4 json 2.6.2.3).
    Items of a list may stand elsewhere in it.
    """
    if isinstance(posted, dict) and isinstance(made, dict):
        for name, value in posted.items():
            where = told(place, name)
            if name in made:
                yield from missing(value, made[name], where)
            else:
                yield where
    elif isinstance(posted, list) and isinstance(made, list):
        yield from _missing_items(posted, made, place)
    elif _written(posted) != _written(made):
        yield place


def _missing_items(posted: list[Json], made: list[Json], place: str) -> Iterator[str]:
    left = dict(enumerate(made))
    if len(posted) > len(made):
        # one place stands for all that is too much
        yield f"{place}[{len(made)}]"
    for index, item in enumerate(posted[: len(made)]):
        where = f"{place}[{index}]"
        # the same place first, then any other: the order of codings carries no meaning
        order = sorted(left, key=lambda other: other != index)
        found = next((one for one in order if _holds(item, left[one])), None)
        if found is not None:
            del left[found]
        elif len(posted) == len(made) and index in left:
            yield from missing(item, left.pop(index), where)
        else:
            yield where


def _holds(posted: Json, made: Json) -> bool:
    return next(missing(posted, made, ""), None) is None


def _written(value: Json) -> tuple[type, str]:
    if isinstance(value, Decimal) or type(value) is int:
        return Decimal, str(value)
    return type(value), str(value)
