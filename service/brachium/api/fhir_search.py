"""Reading the query of a FHIR search: what is honoured, what is ignored, what is refused."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from urllib.parse import urlencode

from brachium.api.allowed import names
from brachium.api.capability import REVINCLUDE, REVINCLUDED, Parameter, Served
from brachium.api.faults import BadParameter
from brachium.api.requests import printable
from brachium.problems import Listed, Problem, Severity

RESULT_PARAMETERS = frozenset({"_format", "_count", "_revinclude", "_after"})
_ID = re.compile(r"[A-Za-z0-9.-]{1,64}")
_REFERENCE = re.compile(r"([A-Z][A-Za-z]{1,63})/([A-Za-z0-9.-]{1,64})")
DEFAULT_COUNT, MOST = 50, 500


@dataclass(slots=True)
class Query:
    """A search as it is carried out.

    ``criteria`` are pairs of parameter and value in the form of the search index, each of which
    must hold; ``honoured`` the pairs for the self link; ``ignored`` the names nobody knows.
    """

    criteria: list[tuple[str, str]] = field(default_factory=list)
    honoured: list[tuple[str, str]] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    revinclude: bool = False
    count: int = DEFAULT_COUNT
    after: str | None = None

    def link(self, kind: str, after: str | None = None) -> str:
        """Return the part of a self or next link after the base."""
        pairs = [*self.honoured, *([("_after", after)] if after else [])]
        return f"{kind}?{urlencode(pairs)}" if pairs else kind


def understood(
    served: Served, pairs: Iterable[tuple[str, str]], base: str, *, strict: bool
) -> Query:
    """Return the search; 400 for a bad value, a modifier, or with ``strict`` an unknown name."""
    query = Query()
    for name, value in pairs:
        if name in RESULT_PARAMETERS:
            _result(query, served, name, value)
            continue
        parameter = served.parameter(name)
        if parameter is not None:
            query.criteria.append((name, _value(parameter, value, base)))
            query.honoured.append((name, value))
        elif strict or _is_modified(served, name):
            known = [one.name for one in served.parameters]
            allowed = names([*known, *sorted(RESULT_PARAMETERS)])
            raise BadParameter(parameter=printable(name), allowed=allowed)
        else:
            query.ignored.append(printable(name))
    return query


_IGNORED = Listed(
    "parameter-ignored",
    Severity.WARNING,
    "A search parameter was not looked at.",
    "The result may hold more than was asked for.",
    "Compare the search with the CapabilityStatement.",
    "FHIR R4 3.1.1.3",
)
LISTED = (_IGNORED,)


def ignored_problem(names: Iterable[str]) -> tuple[Problem, ...]:
    """Return a warning for each parameter that was not looked at (FHIR R4 search 3.1.1.3)."""
    return tuple(
        _IGNORED.problem(
            "", f"The parameter {name} is not known here and was ignored.", "not-supported"
        )
        for name in names
    )


def _is_modified(served: Served, name: str) -> bool:
    return served.parameter(re.split("[:.]", name)[0]) is not None


def _result(query: Query, served: Served, name: str, value: str) -> None:
    if name == "_revinclude":
        query.revinclude = _revinclude(served, value)
    elif name == "_count":
        if not re.fullmatch(r"[0-9]{1,6}", value):
            raise BadParameter(parameter=name, allowed="a whole number of up to six digits")
        query.count = min(int(value), MOST)
    elif name == "_after":
        if not re.fullmatch(r"\[[0-9]{1,19}\]|[0-9]{1,9}", value):
            raise BadParameter(parameter=name, allowed="the value in the next link of a page")
        query.after = value
        return
    if name != "_format":
        query.honoured.append((name, value))


def _revinclude(served: Served, value: str) -> bool:
    if served.type not in REVINCLUDED:
        raise BadParameter(parameter="_revinclude", allowed="not with this type")
    if value != REVINCLUDE:
        raise BadParameter(parameter="_revinclude", allowed=REVINCLUDE)
    return True


def _value(parameter: Parameter, value: str, base: str) -> str:
    reader = {
        "_id": _id,
        "agent": _reference,
        "identifier": _token,
        "patient": _patient,
        "target": _reference,
    }
    read = reader.get(parameter.name)
    found = read(value, base) if read else value
    if not found:
        allowed = parameter.words.removesuffix(".")
        raise BadParameter(parameter=parameter.name, allowed=allowed)
    return found


def _id(value: str, _base: str) -> str | None:
    return value if _ID.fullmatch(value) else None


def _token(value: str, _base: str) -> str | None:
    system, bar, code = value.partition("|")
    return value if bar and system and code and "," not in value else None


def _relative(value: str, base: str) -> str:
    return value.removeprefix(f"{base}/fhir/")


def _patient(value: str, base: str) -> str | None:
    relative = _relative(value, base)
    path = relative if "/" in relative else f"Patient/{relative}"
    found = _REFERENCE.fullmatch(path)
    return path if found and found[1] == "Patient" else None


def _reference(value: str, base: str) -> str | None:
    path = _relative(value, base)
    return path if _REFERENCE.fullmatch(path) else None
