"""Reading what is asked of an export: what is wanted, refused, or with lenience left out."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

import orjson

from brachium.api import bulk_values as values
from brachium.api.allowed import names
from brachium.api.answers import outcome
from brachium.api.bulk_faults import IGNORED
from brachium.api.bulk_posted import Pair
from brachium.api.faults import BadParameter
from brachium.api.requests import printable
from brachium.api.served import SERVED
from brachium.bulk.wanted import PROVENANCE, TYPES, Associated, Level, Wanted
from brachium.problems import Problem

T = TypeVar("T")
_NAMES = "_outputFormat _since _type _elements patient includeAssociatedData _typeFilter"
KNOWN = frozenset(_NAMES.split())
# what of them may stand there only once
_ONCE = frozenset({"_outputFormat", "_since"})


class Unserved(ValueError):
    """A value that could be meant and is not served, which a lenient export leaves out."""


@dataclass(slots=True)
class Asked:
    """The parameters of one export, read one by one.

    ``lenient`` leaves out what is not served and tells so (Prefer: handling=lenient); a value that
    is nothing at all is refused all the same. ``apart`` are types that are served and no records:
    who asks for every type of the CapabilityStatement is told, and gets the others. ``search``
    raises :class:`Unserved` for a filter that cannot be carried out.
    """

    level: Level
    posted: bool
    lenient: bool
    canonical: str
    search: Callable[[str, str], object]
    types: list[str] = field(default_factory=list)
    apart: list[str] = field(default_factory=list)
    explicit: bool = False
    since: str = ""
    filters: list[Pair] = field(default_factory=list)
    elements: list[str] = field(default_factory=list)
    patients: list[str] = field(default_factory=list)
    associated: Associated = Associated.NONE
    ignored: list[Problem] = field(default_factory=list)

    def take(self, pairs: Iterable[Pair]) -> None:
        """Read every parameter; raises ``BadParameter`` for the first that cannot be."""
        seen: set[str] = set()
        for name, value in pairs:
            if name in _ONCE & seen:
                raise BadParameter(parameter=name, allowed="every parameter once")
            seen.add(name)
            self._take(name, value)
        self._agree()

    def _take(self, name: str, value: str) -> None:
        try:
            self._reader(name)(value)
        except Unserved as refused:
            if not self.lenient:
                raise BadParameter(parameter=printable(name), allowed=str(refused)) from None
            self._ignore(name)
        except ValueError as refused:
            raise BadParameter(parameter=name, allowed=str(refused)) from None

    def _reader(self, name: str) -> Callable[[str], None]:
        """Return what reads a parameter; a patient never stands in an address."""
        readers: dict[str, Callable[[str], None]] = {
            "_outputFormat": values.output_format,
            "_since": self._since,
            "_type": self._types,
            "_elements": self._elements,
            "includeAssociatedData": partial(self._parts, "includeAssociatedData", self._associate),
            "_typeFilter": self._filters,
        }
        if self.posted:
            readers["patient"] = self._patient
        if name not in readers:
            raise Unserved(names(readers))
        return readers[name]

    def _since(self, value: str) -> None:
        self.since = values.since(value)

    def _types(self, value: str) -> None:
        self.explicit = True
        self._parts("_type", self._type, value)

    def _elements(self, value: str) -> None:
        self.elements += values.elements(value)

    def _filters(self, value: str) -> None:
        for pair in values.filters(value):
            self._part("_typeFilter", self._filter, pair)

    def _parts(self, name: str, read: Callable[[str], None], value: str) -> None:
        for one in value.split(","):
            self._part(name, read, one)

    def _part(self, name: str, read: Callable[[T], None], value: T) -> None:
        """Read one part of a value, which alone is left out when it is not served."""
        try:
            read(value)
        except Unserved:
            if not self.lenient:
                raise
            self._ignore(name)

    def _type(self, kind: str) -> None:
        if kind in SERVED and kind not in TYPES:
            self.apart.append(kind)
            self._tell(f"{kind} is no part of the records and in no export; it is read at {kind}.")
            return
        if kind not in TYPES:
            raise Unserved(", ".join(TYPES))
        self.types.append(kind)

    def _associate(self, value: str) -> None:
        try:
            self.associated = values.associated(value)
        except ValueError as refused:
            raise Unserved(str(refused)) from None

    def _filter(self, pair: Pair) -> None:
        kind, query = pair
        if kind not in TYPES:
            raise Unserved(f"searches of {', '.join(TYPES)}")
        self.search(kind, query)
        self.filters.append(pair)

    def _patient(self, reference: str) -> None:
        if self.level is Level.SYSTEM:
            raise Unserved("at Patient/$export and Group/[id]/$export")
        self.patients.append(values.patient(reference))

    def _ignore(self, name: str) -> None:
        shown = printable(name)
        message = f"A value of the parameter {shown} is not served here and was left out."
        if name not in KNOWN:
            message = f"The parameter {shown} is not known here and was left out."
        self._tell(message)

    def _tell(self, message: str) -> None:
        self.ignored.append(IGNORED.problem("", message, "not-supported"))

    def _agree(self) -> None:
        """Look at what parameters say together."""
        if self.explicit and not (self.types or self.apart):
            raise BadParameter(parameter="_type", allowed=", ".join(TYPES))
        if self.types and {kind for kind, _ in self.filters} - set(self.types):
            raise BadParameter(parameter="_typeFilter", allowed="types that _type names")
        if self.associated is not Associated.NONE:
            if self.filters:
                allowed = "not together with _typeFilter"
                raise BadParameter(parameter="includeAssociatedData", allowed=allowed)
            if self.types:
                self.types.append(PROVENANCE)

    def wanted(self, sees: Callable[[str], bool], group: str) -> Wanted:
        """Return what is wanted, of the types that the caller may see."""
        chosen = self.types if self.explicit else [kind for kind in TYPES if sees(kind)]
        told = [orjson.dumps(outcome([one], self.canonical)).decode() for one in self.ignored]
        return Wanted(
            types=tuple(kind for kind in TYPES if kind in chosen),
            level=self.level,
            group=group,
            patients=tuple(dict.fromkeys(self.patients)),
            since=self.since,
            filters=tuple(f"{kind}?{query}" for kind, query in self.filters),
            elements=tuple(dict.fromkeys(self.elements)),
            associated=self.associated,
            outcomes=tuple(told),
        )
