"""The structural facts of FHIR R4 (4.0.1): elements, rules and required value sets of our types."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, NamedTuple, TypeAlias

import orjson

Json: TypeAlias = Any

HL7 = "http://hl7.org/fhir/StructureDefinition/"
SYSTEM_TYPE = "http://hl7.org/fhirpath/System."


class Rule(NamedTuple):
    """An invariant: ``source`` is the canonical URL of the definition it stems from.

    Empty for a rule of ours, which has a ``check`` that says the same as the expression.
    """

    key: str
    severity: str
    expression: str
    human: str
    source: str
    check: Callable[[Json], bool] | None = None


class Type(NamedTuple):
    """A type an element may have.

    ``targets`` are the types (or canonical URLs) a reference may lead to, none meaning any;
    ``profiles`` the canonical URLs one of which the value has to meet; ``fhir`` the FHIR type of
    what is given a type of FHIRPath.
    """

    code: str
    targets: tuple[str, ...] = ()
    profiles: tuple[str, ...] = ()
    fhir: str = ""

    @property
    def name(self) -> str:
        """The FHIR type."""
        return self.fhir or ("string" if self.code.startswith(SYSTEM_TYPE) else self.code)


class Binding(NamedTuple):
    """A value set an element is bound to."""

    strength: str
    values: str


class Slicing(NamedTuple):
    """How the slices of an element are told apart: discriminator type and path (R4 5.1.0.8)."""

    by: str
    path: str


class Element(NamedTuple):
    """One ElementDefinition: ``most`` is a number or ``*``; ``set`` is ("fixedUri", value) or so.

    ``id`` is the path with the slices in it; ``words`` is ours, empty for what is taken over.
    """

    id: str
    path: str
    least: int
    most: str
    types: tuple[Type, ...] = ()
    content: str = ""
    base: tuple[str, int, str] = ("", 0, "*")
    binding: Binding | None = None
    modifier: bool = False
    summary: bool = False
    rules: tuple[Rule, ...] = ()
    set: tuple[str, Json] | None = None
    slicing: Slicing | None = None
    slice: str = ""
    words: str = ""


class Definition(NamedTuple):
    """A type of R4: ``base`` is the name of the type it specializes."""

    name: str
    kind: str
    base: str
    abstract: bool
    elements: tuple[Element, ...]
    regex: str = ""


class Base(NamedTuple):
    """Everything in the file: types by name, codes by system by value set URL (with version)."""

    types: Mapping[str, Definition]
    values: Mapping[str, Mapping[str, frozenset[str]]]


@cache
def base() -> Base:
    """Return the facts; read once."""
    text = files("brachium.profiles").joinpath("r4.json").read_bytes()
    facts = orjson.loads(text)
    rules = {key: (row["severity"], row["expression"]) for key, row in facts["rules"].items()}
    owners = _owners(facts["types"])
    made = {
        key: Rule(key, severity, expression, f"FHIR R4 rule {key} holds.", HL7 + owners[key])
        for key, (severity, expression) in rules.items()
    }
    types = {name: _definition(name, row, made) for name, row in facts["types"].items()}
    values = {
        url: {system: frozenset(codes) for system, codes in listed.items()}
        for url, listed in facts["values"].items()
    }
    return Base(types, values)


def _owners(types: Mapping[str, Json]) -> dict[str, str]:
    """Return which type each rule stems from: at its root, else at one of its elements.

    A rule that the base of a type has too is inherited.
    """
    found: dict[str, str] = {}
    for of_root in (True, False):
        for name, row in types.items():
            above = types.get(row["base"], {"elements": []})
            for key in _keys(row, of_root=of_root) - _keys(above, of_root=of_root):
                found.setdefault(key, name)
    return found


def _keys(row: Json, *, of_root: bool) -> set[str]:
    return {
        key
        for element in row["elements"]
        if of_root is ("." not in element["path"])
        for key in element.get("rules", ())
    }


def _definition(name: str, row: Json, rules: Mapping[str, Rule]) -> Definition:
    elements = tuple(_element(e, rules) for e in row["elements"])
    abstract = row.get("abstract", False)
    return Definition(name, row["kind"], row["base"], abstract, elements, row.get("regex", ""))


def _element(row: Json, rules: Mapping[str, Rule]) -> Element:
    path = row["path"]
    own, least, most = row.get("base", (path, row["min"], row["max"]))
    return Element(
        path,
        path,
        row["min"],
        row["max"],
        tuple(_type(*kind) for kind in row.get("type", ())),
        row.get("content", ""),
        (own, least, most),
        Binding(*row["bind"]) if "bind" in row else None,
        row.get("isModifier", False),
        row.get("isSummary", False),
        tuple(rules[key] for key in row.get("rules", ())),
    )


def _type(code: str, targets: tuple[str, ...] = (), fhir: str = "") -> Type:
    return Type(code, tuple(targets), (), fhir)
