"""Snapshots as trees: which JSON members may stand in an element, and what each has to be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

from brachium.profiles.base import Element, Type, base


class Branch(NamedTuple):
    """One JSON member: ``type`` is what the value is when the member has this name."""

    node: Node
    type: Type


@dataclass(slots=True, eq=False)
class Node:
    """One element; ``below`` holds what stands beneath it, by JSON member.

    ``keys`` are the JSON members that the element itself can be.
    """

    element: Element
    name: str
    children: list[Node] = field(default_factory=list)
    slices: list[Node] = field(default_factory=list)
    below: Mapping[str, Branch] = field(default_factory=dict)
    keys: tuple[str, ...] = ()

    @property
    def repeats(self) -> bool:
        """Whether the JSON member is an array: by R4, whatever a profile says (R4 json 2.6.2.1)."""
        return self.element.base[2] != "1"


def tree(elements: Iterable[Element]) -> Node:
    """Return the root of a snapshot."""
    nodes: dict[str, Node] = {}
    root: Node | None = None
    for one in elements:
        above, _, last = one.id.rpartition(".")
        node = Node(one, last.partition(":")[0].removesuffix("[x]"))
        nodes[one.id] = node
        if not above:
            root = node
        elif one.slice:
            nodes[one.id.removesuffix(f":{one.slice}")].slices.append(node)
        else:
            nodes[above].children.append(node)
    if root is None:
        raise ValueError("a snapshot without a root")
    for node in nodes.values():
        node.below = members(node.children)
        node.keys = tuple(_member(node, kind) for kind in _types(node.element))
    return root


def members(children: Iterable[Node]) -> dict[str, Branch]:
    """Return the JSON members that the elements give rise to, choices spelt out."""
    found = {}
    for child in children:
        for kind in _types(child.element):
            found[_member(child, kind)] = Branch(child, kind)
    return found


def _types(element: Element) -> tuple[Type, ...]:
    return (Type("BackboneElement"),) if element.content else element.types


def _member(child: Node, kind: Type) -> str:
    if not child.element.path.endswith("[x]"):
        return child.name
    return child.name + kind.code[0].upper() + kind.code[1:]


@cache
def type_tree(name: str) -> Node:
    """Return the tree of an R4 type; ``KeyError`` for a type that is not known here."""
    return tree(base().types[name].elements)


@cache
def _by_path(path: str) -> Node:
    """Return the node of a path within its type, for elements defined by a content reference."""
    name, *rest = path.split(".")
    node = type_tree(name)
    for part in rest:
        node = next(child for child in node.children if child.name == part)
    return node


def inside(node: Node, kind: Type) -> Node:
    """Return the node whose children stand in a value: the profile's own, or those of the type."""
    if node.below:
        return node
    if node.element.content:
        return _by_path(node.element.content)
    return type_tree(kind.name)


def is_primitive(kind: Type) -> bool:
    """Tell whether a value of this type is a JSON primitive."""
    return kind.name[0].islower()
