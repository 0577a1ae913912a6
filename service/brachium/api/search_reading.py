"""Reading the parameters of a FHIR search: what is honoured, ignored, refused - all at once."""

from __future__ import annotations

import re
from collections.abc import Iterable

from brachium.api.allowed import names
from brachium.api.faults import BadSearch
from brachium.api.requests import printable
from brachium.api.search_parameters import Parameter
from brachium.api.search_query import IGNORED, MODIFIER, UNKNOWN, VALUE, Chained, Query, about
from brachium.api.search_results import RESULTS, ResultReader
from brachium.api.search_values import identifiers, matches
from brachium.api.served import SERVED, Served
from brachium.problems import Problem
from brachium.store.criteria import Criterion, Present, Search

_NAME = re.compile(r"(?P<name>[^:.]*)(?::(?P<modifier>[^.]*))?(?:\.(?P<chain>.*))?", re.DOTALL)
_FORMAT = frozenset({"_format", "_pretty"})


def understood(
    served: Served, pairs: Iterable[tuple[str, str]], base: str, *, strict: bool = False
) -> Query:
    """Return the search; :class:`BadSearch` with every problem when it cannot be carried out.

    ``base`` is the address of the FHIR interface. What cannot be understood is refused; a name
    that nobody knows is ignored and told, and with ``strict`` refused too (FHIR R4 3.1.1.3).
    """
    reader = _Reader(served, base, strict)
    for name, value in pairs:
        reader.take(name, value)
    reader.check()
    if reader.errors:
        raise BadSearch(*reader.errors)
    return reader.query


class _Reader:
    def __init__(self, served: Served, base: str, strict: bool) -> None:
        self.query = Query(served.type)
        self.errors: list[Problem] = []
        self._served = served
        self._base = base
        self._strict = strict
        self._results = ResultReader(served, self.query, strict=strict)

    def take(self, name: str, value: str) -> None:
        """Take one pair in."""
        found = _NAME.fullmatch(name)
        plain = found["name"] if found else name
        if plain in _FORMAT and plain == name:
            return
        try:
            if plain in RESULTS:
                self._result(name, plain, value)
            elif (parameter := self._served.parameter(plain)) and found:
                self._criterion(parameter, found["modifier"], found["chain"], value)
                self.query.honoured.append((name, value))
            else:
                self._unknown(name)
        except _Unserved as refused:
            self._refuse_modifier(name, refused.allowed)
        except ValueError as refused:
            self._refuse_value(name, str(refused))

    def check(self) -> None:
        """Look at what parameters say together."""
        if self.query.summary == "text" and (self.query.includes or self.query.back):
            # FHIR R4 3.1.1.5.8
            self._refuse_value("_summary", "text only without _include and _revinclude")

    def _result(self, name: str, plain: str, value: str) -> None:
        if name != plain:
            raise _Unserved("no modifier")
        self._results.take(name, value)
        self.errors += self._results.refused()

    def _criterion(
        self, parameter: Parameter, modifier: str | None, chain: str | None, value: str
    ) -> None:
        if chain is not None:
            self.query.chained.append(self._chain(parameter, modifier, chain, value))
        else:
            self.query.criteria.append(self._plain(parameter, modifier, value))

    def _plain(self, parameter: Parameter, modifier: str | None, value: str) -> Criterion:
        rows = parameter.rows
        if modifier is None or modifier in parameter.targets:
            if "identifier" in parameter.modifiers:
                raise ValueError("with :identifier only, as system|value")
            return Criterion(rows, matches(parameter, value, self._base, modifier or ""))
        if modifier not in parameter.modifiers:
            raise _Unserved(_modifiers(parameter))
        if modifier == "missing":
            return Criterion(rows, (Present(_missing(value)),))
        if modifier == "identifier":
            return Criterion(tuple(f"{row}:identifier" for row in rows), identifiers(value))
        return Criterion(rows, matches(parameter, value, self._base), negated=True)

    def _chain(self, parameter: Parameter, kind: str | None, chain: str, value: str) -> Chained:
        targets = parameter.targets if kind is None else (kind,)
        if chain not in parameter.chains or not set(targets) <= set(parameter.targets):
            raise _Unserved(_modifiers(parameter))
        asked = ((target, SERVED[target].parameter(chain)) for target in targets)
        searches = (
            Search(target, (Criterion(one.rows, matches(one, value, self._base)),))
            for target, one in asked
            if one is not None
        )
        return Chained(parameter.rows, tuple(searches))

    def _unknown(self, name: str) -> None:
        shown = printable(name)
        message = f"The parameter {shown} is not known here"
        if self._strict:
            known = [one.name for one in self._served.parameters]
            remedy = f"Allowed: {names([*known, *sorted(RESULTS)])}."
            self.errors.append(about(UNKNOWN, shown, f"{message}.", "not-supported", remedy))
        else:
            told = about(IGNORED, shown, f"{message} and was ignored.", "not-supported")
            self.query.warnings.append(told)

    def _refuse_modifier(self, name: str, allowed: str) -> None:
        shown = printable(name)
        message = f"The parameter {shown} has a modifier or chain that is not served."
        self.errors.append(about(MODIFIER, shown, message, "not-supported", f"Allowed: {allowed}."))

    def _refuse_value(self, name: str, allowed: str) -> None:
        shown = printable(name)
        message = f"The parameter {shown} has a value that cannot be used."
        self.errors.append(about(VALUE, shown, message, "value", f"Allowed: {allowed}."))


class _Unserved(Exception):
    """A modifier or chain that is not served; ``allowed`` says what is."""

    def __init__(self, allowed: str) -> None:
        super().__init__(allowed)
        self.allowed = allowed


def _modifiers(parameter: Parameter) -> str:
    served = [f":{one}" for one in (*parameter.modifiers, *parameter.targets)]
    served += [f".{one}" for one in parameter.chains]
    return f"{parameter.name} with nothing behind it, or {', '.join(served)}" if served else "none"


def _missing(value: str) -> bool:
    """Return whether the value has to be present: ``:missing=false``."""
    if value not in ("true", "false"):
        raise ValueError("true or false")
    return value == "false"
