"""The references of a posted transaction, followed (FHIR R4 http 3.1.0.11.2; TXN-03, TXN-07).

A reference leads to an entry by its fullUrl, to something stored here by its address, to what a
search finds, or to nothing but an identifier.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from brachium.coding.identity import party_id
from brachium.coding.response import TYPE as FORM
from brachium.exam.findings import Identifier
from brachium.formats.element_names import told
from brachium.formats.incoming import Entry, alternatives, parse, placed
from brachium.formats.outgoing import SHARED_TYPES
from brachium.intake.refusals import REFERENCE_UNRESOLVED

if TYPE_CHECKING:
    from brachium.problems import Problem
    from brachium.store.port import Store

Json = dict[str, Any]
_PATIENT = "Patient"
_NOT_FOUND, _SEVERAL = "not-found", "multiple-matches"


@dataclass
class Links:
    """Follows references; ``base`` is the public address of the FHIR interface.

    ``named`` maps every reference that was followed to the name of its resource, ``found`` holds
    by name what is referred to and is no entry, ``parties`` by our own name the entries that are
    shared resources, ``problems`` what leads nowhere.
    """

    entries: Sequence[Entry]
    store: Store
    base: str
    named: dict[str, str] = field(default_factory=dict)
    found: dict[str, Json] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    parties: dict[str, Entry] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.named |= {entry.full_url: entry.name for entry in self.entries}
        for entry in self.entries:
            if entry.type in SHARED_TYPES and entry.identity:
                identity = _own_id(*entry.identity)
                self.parties[f"{entry.type}/{identity}"] = entry

    def followed(self, value: Any, place: str) -> Any:  # noqa: ANN401 - JSON
        """Return JSON whose references are names of resources of the bundle, or stored ones."""
        if isinstance(value, list):
            return [self.followed(one, f"{place}[{index}]") for index, one in enumerate(value)]
        # a form names people by identifier alone, here as well
        if not isinstance(value, dict) or value.get("resourceType") == FORM:
            return value
        if isinstance(value.get("reference"), str):
            return _plain({**value, "reference": self._name(value["reference"], place)})
        if _is_logical(value):
            return self._logical(value, place)
        return {name: self.followed(one, told(place, name)) for name, one in value.items()}

    def _name(self, reference: str, place: str) -> str:
        if reference not in self.named:
            kind = reference.removeprefix(f"{self.base}/")
            type_, mark, query = kind.partition("?")
            if mark:
                self._conditional(reference, type_, query, place)
            else:
                self._take(reference, *kind.partition("/")[::2], place)
        return self.named.get(reference, reference)

    def _conditional(self, reference: str, kind: str, query: str, place: str) -> None:
        """TXN-07: the search must find exactly one."""
        ids = {_own_id(kind, *one) for one in alternatives(query) if one} - {None}
        stored = [one for one in ids if one and self.store.read(kind, one)]
        if len(stored) == 1:
            self._take(reference, kind, stored[0], place)
        else:
            self._lost(place, _SEVERAL if stored else _NOT_FOUND)

    def _take(self, reference: str, kind: str, identity: str, place: str) -> None:
        row = self.store.read(kind, identity) if kind in SHARED_TYPES and identity else None
        if row is None:
            self._lost(place, _NOT_FOUND)
            return
        self.named[reference] = f"{kind}/{identity}"
        self.found[f"{kind}/{identity}"] = parse(row.text)

    def _logical(self, value: Json, place: str) -> Json:
        """What is known by identifier alone has the address that this service gives it.

        A patient must be stored: without age and hand nothing could be judged.
        """
        kind, by = value["type"], value["identifier"]
        identity = _own_id(kind, by["system"], by["value"])
        own = f"{kind}/{identity}"
        name = self.parties[own].name if own in self.parties else own
        if name == own and own not in self.found:
            row = self.store.read(kind, identity) if identity else None
            if row is None and (kind == _PATIENT or not identity):
                self._lost(place, _NOT_FOUND)
            known = {"resourceType": kind, "id": identity, "identifier": [by]}
            self.found[own] = parse(row.text) if row else known
        rest = {key: one for key, one in value.items() if key not in ("type", "identifier")}
        return {**rest, "reference": name}

    def _lost(self, place: str, issue_type: str) -> None:
        words = {_NOT_FOUND: "leads to nothing that is here", _SEVERAL: "fits several resources"}
        message = f"The reference {words[issue_type]}."
        problem = REFERENCE_UNRESOLVED.problem("", message, issue_type)
        self.problems.append(placed(problem, f"{place}.reference"))


def _plain(value: Json) -> Json:
    """Leave out a type that the reference says too: it is another spelling of the same."""
    if value.get("type") == value["reference"].partition("/")[0]:
        return {name: one for name, one in value.items() if name != "type"}
    return value


def _is_logical(value: Json) -> bool:
    by = value.get("identifier")
    named = isinstance(value.get("type"), str) and value["type"] in SHARED_TYPES
    return named and isinstance(by, dict) and set(by) == {"system", "value"}


def _own_id(kind: str, system: object, value: object) -> str | None:
    try:
        return party_id(kind, Identifier.model_validate({"system": system, "value": value}))
    except ValueError:
        return None
