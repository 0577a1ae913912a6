"""One pass over a resource along a tree of elements: shape, counts, values, codes, references."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple, TypeAlias

from brachium.problems import Listed
from brachium.profiles import primitives, remarks
from brachium.profiles.base import HL7, Base, Element, Slicing, Type, base
from brachium.profiles.invariants import broken
from brachium.profiles.nodes import Branch, Node, inside, is_primitive, type_tree
from brachium.profiles.remarks import Remarks

Json: TypeAlias = Any
Codes: TypeAlias = Mapping[str, frozenset[str]]

_NAMED = re.compile(r"(?:.*/)?([A-Z][A-Za-z]{1,63})/[A-Za-z0-9.\-]{1,64}(?:/_history/\S+)?")
_RESOURCE = "Resource"
# what may be beside the value of a primitive
_SHADOW = Type("Element")


class Place(NamedTuple):
    """Where the pass is: FHIRPath of the element, the resource it is in, and the outermost one."""

    path: str
    resource: Json
    root: Json

    def below(self, name: str, index: int | None = None) -> Place:
        """Return the place of a member, or of an item of it."""
        suffix = "" if index is None else f"[{index}]"
        return self._replace(path=f"{self.path}.{name}{suffix}")


class Known(NamedTuple):
    """What the pass goes by besides R4: our value sets, our extensions, and whose a resource is.

    ``profile`` returns the tree of our profile that a resource has to meet, or ``None``;
    ``unknown`` is told of a resource whose type has no definition here.
    """

    values: Mapping[str, Codes]
    extensions: Mapping[str, Node]
    profile: Callable[[Json, Place, Remarks], Node | None]
    unknown: Callable[[Json, Place, Remarks], None]


class Walk:
    """The pass over one resource; what it finds goes into ``remarks``."""

    def __init__(self, known: Known, found: Remarks) -> None:
        self._known = known
        self._found = found
        self._base: Base = base()

    def resource(self, value: Json, place: Place, node: Node | None, *, alone: bool) -> None:
        """Judge a resource by a tree, or by R4 alone; ``alone`` is false for a contained one."""
        if not isinstance(value, dict):
            self._say(remarks.SHAPE, place, "A resource, which is an object, belongs here.")
            return
        name = value.get("resourceType")
        known = self._base.types.get(name) if isinstance(name, str) else None
        if known is None or known.kind != "resource" or known.abstract:
            self._known.unknown(value, place, self._found)
            return
        here = Place(place.path, value, value if alone else place.root)
        tree = node or type_tree(known.name)
        self._value(tree, Type(known.name), value, here)

    def _say(self, row: Listed, place: Place, text: str, kind: str = "structure") -> None:
        self._found.say(row, place.path, text, kind)

    def _value(self, node: Node, kind: Type, value: Json, place: Place) -> None:
        """Judge one value of an element: never an array."""
        self._found.visit()
        if is_primitive(kind):
            if wrong := primitives.fault(kind.name, value):
                self._say(remarks.VALUE, place, f"{wrong[0].upper()}{wrong[1:]}.", "value")
                return
        elif not isinstance(value, dict) or not value:
            self._say(
                remarks.SHAPE, place, f"An object that is not empty belongs here ({kind.name})."
            )
            return
        elif kind.name == _RESOURCE:
            self._nested(node, value, place)
            return
        else:
            node = self._extension(node, kind, value)
            self._members(node, kind, value, place)
        self._element(node.element, kind, value, place)

    def _nested(self, node: Node, value: Json, place: Place) -> None:
        if node.name == "contained":
            self.resource(value, place, None, alone=False)
            return
        self.resource(value, place, self._known.profile(value, place, self._found), alone=True)

    def _extension(self, node: Node, kind: Type, value: Json) -> Node:
        url = value.get("url")
        if kind.name != "Extension" or not isinstance(url, str):
            return node
        return self._known.extensions.get(url, node)

    def _members(self, node: Node, kind: Type, value: Json, place: Place) -> None:
        below = inside(node, kind).below
        for key, member in value.items():
            branch = below.get(key.removeprefix("_"))
            if key == "resourceType" and self._base.types[kind.name].kind == "resource":
                continue
            if branch is None or (key[0] == "_" and not is_primitive(branch.type)):
                # its name is not told: it could be anything
                text = "A member stands here that FHIR R4 or the profile does not have."
                self._say(remarks.UNKNOWN_ELEMENT, place, text)
            elif key[0] == "_":
                self._shadow(branch, member, place)
            else:
                self._member(branch, member, value.get(f"_{key}"), place)
        self._counts(inside(node, kind), value, place)

    def _member(self, branch: Branch, member: Json, shadow: Json, place: Place) -> None:
        node = branch.node
        if isinstance(member, list) != node.repeats:
            form = "An array belongs" if node.repeats else "One value, no array, belongs"
            self._say(remarks.SHAPE, place.below(node.name), f"{form} here.")
            return
        if not isinstance(member, list):
            self._value(node, branch.type, member, place.below(node.name))
            return
        if not member:
            self._say(remarks.SHAPE, place.below(node.name), "An empty array is no value.")
        counts = dict.fromkeys((one.element.slice for one in node.slices), 0)
        for index, item in enumerate(member):
            if item is None and is_primitive(branch.type) and _has(shadow, index):
                continue
            one = self._slice(node, item)
            if one.element.slice:
                counts[one.element.slice] += 1
            self._value(one, branch.type, item, place.below(node.name, index))
        self._slice_counts(node, counts, place)

    def _shadow(self, branch: Branch, member: Json, place: Place) -> None:
        """Judge what stands beside the value of a primitive: id and extensions."""
        node = branch.node
        shadow = type_tree("Element")
        items = member if isinstance(member, list) else [member]
        if isinstance(member, list) != node.repeats:
            self._say(remarks.SHAPE, place.below(node.name), "Array and single value are mixed up.")
            return
        for index, item in enumerate(items):
            if item is not None:
                spot = place.below(node.name, index if node.repeats else None)
                self._value(shadow, _SHADOW, item, spot)

    def _slice(self, node: Node, item: Json) -> Node:
        slicing = node.element.slicing
        if slicing is not None:
            for one in node.slices:
                if _belongs(one, slicing, item):
                    return one
        return node

    def _slice_counts(self, node: Node, counts: Mapping[str, int], place: Place) -> None:
        for one in node.slices:
            told = f"the slice {one.element.slice}"
            self._count(one.element, counts[one.element.slice], told, place.below(node.name))

    def _counts(self, node: Node, value: Json, place: Place) -> None:
        for child in node.children:
            keys = [key for key in child.keys if key in value or f"_{key}" in value]
            if len(keys) > 1:
                self._say(remarks.COUNT, place.below(child.name), "Only one type may be given.")
            number = _number(value.get(keys[0])) if keys else 0
            self._count(child.element, number, f"the element {child.name}", place)
            if not keys:
                self._slice_counts(
                    child, dict.fromkeys((s.element.slice for s in child.slices), 0), place
                )

    def _count(self, element: Element, number: int, told: str, place: Place) -> None:
        most = element.most
        # base says what R4 asks of the element: whatever is stricter is the profile's
        _, least, widest = element.base
        if number < element.least:
            text = f"Here {told} has to occur at least {_times(element.least)}."
            source = remarks.R4 if number < least else remarks.OWN
            self._found.say(remarks.COUNT, place.path, text, "required", source=source)
        elif most != "*" and number > int(most):
            text = f"Here {told} may not occur more than {_times(int(most))}."
            text = text if int(most) else f"Here {told} may not occur at all."
            source = remarks.R4 if widest != "*" and number > int(widest) else remarks.OWN
            self._found.say(remarks.COUNT, place.path, text, "structure", source=source)

    def _element(self, element: Element, kind: Type, value: Json, place: Place) -> None:
        if element.set is not None:
            self._set(element.set, value, place)
        if element.binding is not None and element.binding.strength == "required":
            self._bound(element.binding.values, value, place)
        if kind.name == "Reference":
            self._target(kind, value, place)
        broken(element, kind, value, place, self._found)

    def _set(self, wanted: tuple[str, Json], value: Json, place: Place) -> None:
        name, told = wanted
        fits = value == told if name.startswith("fixed") else matches(told, value)
        if not fits:
            self._say(remarks.VALUE, place, "The value is not the one the profile fixes.", "value")

    def _bound(self, values: str, value: Json, place: Place) -> None:
        codes = self._known.values.get(values) or self._base.values.get(values)
        if codes is not None and not _in(codes, value):
            name = values.split("|")[0]
            text = f"No code here is in the value set {name}."
            self._found.say(remarks.CODE, place.path, text, "code-invalid", source=name)

    def _target(self, kind: Type, value: Json, place: Place) -> None:
        allowed = kind.targets
        told = value.get("reference")
        found = _NAMED.fullmatch(told[:2048]) if isinstance(told, str) else None
        if not allowed or _RESOURCE in allowed or found is None:
            return
        if found[1] not in allowed and HL7 + found[1] not in allowed:
            names = ", ".join(one.rpartition("/")[2] for one in allowed)
            self._say(
                remarks.VALUE, place, f"The reference has to lead to one of: {names}.", "value"
            )


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _number(member: Json) -> int:
    return len(member) if isinstance(member, list) else 1


def _has(shadow: Json, index: int) -> bool:
    return isinstance(shadow, list) and index < len(shadow) and shadow[index] is not None


def _belongs(one: Node, slicing: Slicing, item: Json) -> bool:
    """Tell whether an item is in a slice: its discriminator has the value the slice fixes."""
    node = next((child for child in one.children if child.name == slicing.path), None)
    if node is None or node.element.set is None or not isinstance(item, dict):
        return False
    return bool(item.get(slicing.path) == node.element.set[1])


def matches(pattern: Json, value: Json) -> bool:
    """Tell whether a value holds everything of a pattern (R4 ElementDefinition.pattern)."""
    if isinstance(pattern, dict):
        return isinstance(value, dict) and all(
            name in value and matches(part, value[name]) for name, part in pattern.items()
        )
    if isinstance(pattern, list):
        return isinstance(value, Sequence) and all(
            any(matches(part, item) for item in value) for part in pattern
        )
    return bool(pattern == value)


def _in(codes: Codes, value: Json) -> bool:
    if isinstance(value, str):
        return any(value in listed for listed in codes.values())
    listed = value.get("coding", [value])
    return any(_has_code(codes, one) for one in listed) if isinstance(listed, list) else False


def _has_code(codes: Codes, coding: Json) -> bool:
    if not isinstance(coding, dict):
        return False
    system, code = coding.get("system"), coding.get("code")
    return isinstance(system, str) and isinstance(code, str) and code in codes.get(system, ())
