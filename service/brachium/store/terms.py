"""The rows of the search index that a block of stored resources has.

Besides the values there are rows for what every type, parameter and system has at all, with nothing
in the place of what is left open: they lead to everything of a type, answer whether a parameter is
missing, and find a token by its system.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import TypeAlias

from brachium.records import QUANTITIES, SearchValue
from brachium.store.runs import runs

# what resources that were stored together, as type and JSON text, are found by
Reader: TypeAlias = Callable[[Sequence[tuple[str, bytes]]], Sequence[Iterable[SearchValue]]]
# type, parameter, value, first key, last key
Row: TypeAlias = tuple[str, str, str, int, int]
# stands where a row leaves the parameter or the value open
ANY = ""


def rows(
    resources: Sequence[tuple[int, str, bytes]], read: Reader, *every: SearchValue
) -> Iterator[Row]:
    """Return the rows for resources, as key, type and JSON text, in the order of their keys.

    ``every`` are values that each of them has besides what is read in it.
    """
    values = read([(kind, text) for _, kind, text in resources])
    keyed = [
        (kind, key, (*found, *every))
        for (key, kind, _), found in zip(resources, values, strict=True)
    ]
    # the sort keeps the order of the keys within a type
    for kind, members in groupby(sorted(keyed, key=itemgetter(0)), itemgetter(0)):
        yield from _of_type(kind, [(key, found) for _, key, found in members])


def _of_type(kind: str, members: Sequence[tuple[int, Iterable[SearchValue]]]) -> Iterator[Row]:
    keys: dict[tuple[str, str], list[int]] = {}
    for key, values in members:
        for pair in dict.fromkeys(pair for value in values for pair in _pairs(*value)):
            keys.setdefault(pair, []).append(key)
    keys[ANY, ANY] = [key for key, _ in members]
    for (parameter, value), held in keys.items():
        # a resource may have several quantities, whose runs could overlap
        single = parameter in QUANTITIES and value != ANY
        for first, last in ((key, key) for key in held) if single else runs(held):
            yield kind, parameter, value, first, last


def _pairs(parameter: str, value: str) -> Iterator[tuple[str, str]]:
    yield parameter, value
    yield parameter, ANY
    system, bar, _ = value.partition("|")
    if bar and parameter not in QUANTITIES:
        yield parameter, f"{system}|"
