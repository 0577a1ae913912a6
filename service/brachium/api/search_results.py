"""The parameters that say how a result is to look (FHIR R4 search 3.1.1.5)."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from brachium.api.requests import printable
from brachium.api.search_query import IGNORED, MOST, UNKNOWN, Query, about
from brachium.api.served import Served
from brachium.problems import Problem
from brachium.store.criteria import Order

SUMMARIES = ("true", "text", "data", "count", "false")
TOTALS = ("none", "estimate", "accurate")
_MEMBER = re.compile(r"(?:[A-Z][A-Za-z]+\.)?[a-z][A-Za-z]{0,63}")
_REPEATABLE = frozenset({"_include", "_revinclude"})


class ResultReader:
    """Writes what it reads into a query; ``ValueError`` says what a value may be."""

    def __init__(self, served: Served, query: Query, *, strict: bool) -> None:
        self._served = served
        self._query = query
        self._strict = strict
        self._taken: set[str] = set()
        self._refused: list[Problem] = []

    def take(self, name: str, value: str) -> None:
        """Take one pair in."""
        if name in self._taken and name not in _REPEATABLE:
            raise ValueError("the parameter once")
        self._taken.add(name)
        kept = RESULTS[name](self, value)
        if kept:
            self._query.honoured.append((name, kept))

    def refused(self) -> list[Problem]:
        """Return the errors that are not about a value, and forget them."""
        found, self._refused = self._refused, []
        return found

    def count(self, value: str) -> str:
        """Read ``_count``: a ceiling, lowered to the largest page (3.1.1.5.3)."""
        if not re.fullmatch(r"[0-9]{1,6}", value):
            raise ValueError("a whole number of up to six digits")
        self._query.count = min(int(value), MOST)
        return value

    def total(self, value: str) -> str:
        """Read ``_total``; an estimate is exact here (3.1.1.5.2)."""
        self._query.total = _one_of(value, TOTALS) != "none"
        return value

    def summary(self, value: str) -> str:
        """Read ``_summary`` (3.1.1.5.8)."""
        self._query.summary = _one_of(value, SUMMARIES)
        return value

    def elements(self, value: str) -> str:
        """Read ``_elements``: members of the type that is searched (3.1.1.5.9)."""
        self._query.elements = elements(value, self._served.type)
        return value

    def sort(self, value: str) -> str:
        """Read ``_sort``; what cannot be sorted by is told, or refused when strict (3.1.1.5.1)."""
        kept = []
        for part in value.split(","):
            name = part.removeprefix("-")
            parameter = self._served.parameter(name)
            if parameter is None or not (parameter.sortable and self._served.versioned):
                self._unsortable(name)
                continue
            self._query.order.append(Order(parameter.rows[0], part != name))
            kept.append(part)
        return ",".join(kept)

    def include(self, value: str) -> str:
        """Read ``_include``: Type:parameter, or Type:parameter:Type wanted (3.1.1.5.4)."""
        path, wanted = _included(value, self._served.includes)
        parameter = self._served.parameter(path.partition(":")[2])
        if parameter is None or (wanted and wanted not in parameter.targets):
            raise ValueError(_choice(self._served.includes))
        self._query.includes.append((parameter.name, wanted))
        return value

    def revinclude(self, value: str) -> str:
        """Read ``_revinclude``."""
        path, wanted = _included(value, self._served.revincludes)
        if wanted not in ("", self._served.type):
            raise ValueError(_choice(self._served.revincludes))
        kind, _, name = path.partition(":")
        self._query.back.append((kind, name))
        return value

    def _unsortable(self, name: str) -> None:
        shown = printable(name)
        message = f"The result cannot be sorted by {shown}"
        known = ", ".join(one.name for one in self._served.parameters if one.sortable)
        if self._strict:
            remedy = f"Allowed: {known if self._served.versioned else 'no _sort here'}."
            told = about(UNKNOWN, "_sort", f"{message}.", "not-supported", remedy)
            self._refused.append(told)
        else:
            told = about(IGNORED, "_sort", f"{message}; that was ignored.", "not-supported")
            self._query.warnings.append(told)


RESULTS: Mapping[str, Callable[[ResultReader, str], str]] = {
    "_count": ResultReader.count,
    "_elements": ResultReader.elements,
    "_include": ResultReader.include,
    "_revinclude": ResultReader.revinclude,
    "_sort": ResultReader.sort,
    "_summary": ResultReader.summary,
    "_total": ResultReader.total,
}


def elements(value: str, kind: str) -> tuple[str, ...]:
    """Return the members that ``_elements`` names; those of other types are left out."""
    parts = value.split(",")
    if not all(_MEMBER.fullmatch(part) for part in parts):
        raise ValueError("names of elements with commas between them")
    named = [part.removeprefix(f"{kind}.") for part in parts]
    return tuple(part for part in named if "." not in part)


def _included(value: str, served: tuple[str, ...]) -> tuple[str, str]:
    kind, _, rest = value.partition(":")
    name, _, wanted = rest.partition(":")
    path = f"{kind}:{name}"
    if path not in served:
        raise ValueError(_choice(served))
    return path, wanted


def _choice(served: tuple[str, ...]) -> str:
    return ", ".join(served) or "not with this type"


def _one_of(value: str, known: tuple[str, ...]) -> str:
    if value not in known:
        raise ValueError(", ".join(known))
    return value
