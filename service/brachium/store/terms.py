"""The search values of a block of resources, packed for the write and unpacked for the index.

An exam has ten search values for each of its resources, and most of them are the same again and
again. Packed, each stands once, and a resource names the numbers of those it has.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, groupby
from operator import attrgetter
from typing import TYPE_CHECKING

import orjson

from brachium.store.runs import runs

if TYPE_CHECKING:
    from brachium.records import Resource

# type, parameter, value, first key, last key
Row = tuple[str, str, str, int, int]


def pack(resources: Sequence[Resource]) -> bytes:
    """Return the search values of resources that get consecutive keys, as JSON text."""
    groups = groupby(resources, attrgetter("type"))
    return orjson.dumps([(kind, *_packed(list(members))) for kind, members in groups])


def _packed(resources: Sequence[Resource]) -> tuple[list[tuple[str, str]], list[list[int]]]:
    # by the object and not by what is in it: coding uses one object wherever a value comes again,
    # and to compare texts would take as long as to write the whole exam
    used = [list(map(id, resource.search)) for resource in resources]
    searched = chain.from_iterable(resource.search for resource in resources)
    distinct = dict(zip(chain.from_iterable(used), searched, strict=True))
    numbers = {identity: number for number, identity in enumerate(distinct)}
    values = [(one.parameter, one.value) for one in distinct.values()]
    return values, [list(map(numbers.__getitem__, identities)) for identities in used]


def unpack(packed: bytes, start: int) -> Iterator[Row]:
    """Return the rows of the search index; ``start`` is the key of the first resource."""
    for kind, values, used in orjson.loads(packed):
        keys: dict[tuple[str, str], list[int]] = {}
        # equal values that were different objects come together here
        holders = [keys.setdefault((parameter, value), []) for parameter, value in values]
        for key, numbers in enumerate(used, start):
            for number in numbers:
                holders[number].append(key)
        for (parameter, value), held in keys.items():
            if len(held) == 1:
                yield kind, parameter, value, held[0], held[0]
            else:
                for first, last in runs(dict.fromkeys(held)):
                    yield kind, parameter, value, first, last
        start += len(used)
