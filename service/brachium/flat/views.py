"""A ViewDefinition made into a function from a resource to rows (SQL on FHIR v2, 2.2).

Supported: ``column`` with ``collection``, ``select``, ``forEach``, ``forEachOrNull``, ``where`` and
``constant``. ``unionAll`` and ``repeat`` are refused, since no view of ours needs them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple, TypeAlias

from brachium.flat.functions import BrokenRow, Item, Path, truth
from brachium.flat.paths import compiled
from brachium.flat.tokens import BrokenView

Row: TypeAlias = tuple[Item, ...]
# one item of a resource to the rows that a part of a view makes of it
Part: TypeAlias = Callable[[Item], Sequence[Row]]

_SELECTING = {"column", "select", "forEach", "forEachOrNull"}


class Column(NamedTuple):
    """A column: its name, its FHIR type, and whether it holds a list."""

    name: str
    type: str
    collection: bool = False


class _Select(NamedTuple):
    columns: tuple[Column, ...]
    part: Part


@dataclass(frozen=True, slots=True)
class View:
    """A ViewDefinition that can be run: ``rows`` makes tuples in the order of ``columns``."""

    name: str
    resource: str
    columns: tuple[Column, ...]
    definition: Mapping[str, Any]
    _conditions: tuple[Path, ...]
    _part: Part

    def rows(self, resource: Item) -> Sequence[Row]:
        """Return the rows of one resource; none for another type or one that is left out.

        Values are as they stand in the resource, numbers with their digits. Raises ``BrokenRow``.
        """
        if resource["resourceType"] != self.resource:
            return ()
        if not all(truth(condition((resource,))) for condition in self._conditions):
            return ()
        return self._part(resource)


def view(definition: Mapping[str, Any]) -> View:
    """Return a view from its definition; raises ``BrokenView`` for one that cannot be run."""
    resource = definition.get("resource")
    selects = definition.get("select")
    if not isinstance(resource, str) or not selects:
        raise BrokenView("a view names its resource and selects something")
    constants = dict(map(_constant, definition.get("constant", ())))
    selected = _combined([_select(one, constants) for one in selects])
    conditions = tuple(compiled(one["path"], constants) for one in definition.get("where", ()))
    names = [column.name for column in selected.columns]
    if len(set(names)) < len(names):
        raise BrokenView("two columns have one name")
    name = str(definition.get("name", ""))
    return View(name, resource, selected.columns, definition, conditions, selected.part)


def _constant(given: Mapping[str, Item]) -> tuple[str, Item]:
    values = [item for name, item in given.items() if name.startswith("value")]
    if len(values) != 1:
        raise BrokenView("a constant has one value")
    return given["name"], values[0]


def _select(given: Mapping[str, Any], constants: Mapping[str, Item]) -> _Select:
    unknown = set(given) - _SELECTING
    if unknown:
        raise BrokenView(f"not supported here: {', '.join(sorted(unknown))}")
    parts = [_column(one, constants) for one in given.get("column", ())]
    parts += [_select(one, constants) for one in given.get("select", ())]
    inner = _combined(parts)
    if "forEach" in given:
        return _for_each(inner, compiled(given["forEach"], constants), or_null=False)
    if "forEachOrNull" in given:
        return _for_each(inner, compiled(given["forEachOrNull"], constants), or_null=True)
    return inner


def _column(given: Mapping[str, Any], constants: Mapping[str, Item]) -> _Select:
    column = Column(given["name"], given.get("type", "string"), given.get("collection", False))
    path = compiled(given["path"], constants)

    def part(item: Item) -> Sequence[Row]:
        found = path((item,))
        if column.collection:
            return (([*found],),)
        if len(found) > 1:
            raise BrokenRow(f"the column {column.name} has more than one value")
        return ((found[0] if found else None,),)

    return _Select((column,), part)


def _for_each(inner: _Select, path: Path, *, or_null: bool) -> _Select:
    empty: Row = (None,) * len(inner.columns)

    def part(item: Item) -> Sequence[Row]:
        found = path((item,))
        if or_null and not found:
            return (empty,)
        return [row for one in found for row in inner.part(one)]

    return _Select(inner.columns, part)


def _combined(selects: Sequence[_Select]) -> _Select:
    """Return selects side by side: every row of one with every row of the others."""
    columns = tuple(column for one in selects for column in one.columns)
    parts = [one.part for one in selects]
    return _Select(columns, lambda item: [*_joined(parts, item)])


def _joined(parts: Sequence[Part], item: Item) -> Iterator[Row]:
    for rows in product(*(part(item) for part in parts)):
        yield tuple(value for row in rows for value in row)
