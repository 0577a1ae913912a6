"""Places in an exam as places in the bundle it was read from."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import orjson

from brachium.formats.incoming import Entry, placed

if TYPE_CHECKING:
    from brachium.problems import Problem

Json: TypeAlias = Any

_FINDING = re.compile(r"/findings/(\d+)(?:/|$)")
_PARTIES = {"patient": "Patient", "examiner": "Practitioner", "facility": "Organization"}
_REPORT = "DiagnosticReport"


def located(
    problems: Iterable[Problem], exam: bytes, entries: Sequence[Entry]
) -> Iterator[Problem]:
    """Yield problems with the place of the entry that each is about.

    ``exam`` is the JSON text that the pointers lead into. What stands in no Observation stands in
    the report (EXM-15).
    """
    content = orjson.loads(exam)
    by_type = {entry.type: entry.place for entry in entries}
    by_value = {entry.identity.value: entry.place for entry in entries if entry.identity}
    for problem in problems:
        if problem.place:
            yield problem
            continue
        place = _place(problem.pointer, content, by_type, by_value)
        yield placed(problem, place or by_type.get(_REPORT, "Bundle"))


def _place(
    pointer: str,
    exam: Json,
    by_type: dict[str, str],
    by_value: dict[str, str],
) -> str | None:
    found = _FINDING.match(pointer)
    if found is None:
        return by_type.get(_PARTIES.get(pointer.split("/")[1] if "/" in pointer else "", ""))
    finding = exam["findings"][int(found[1])]
    name = f"{exam['identifier']['value']}/{finding.get('key')}"
    return next((by_value[one] for one in (name, f"{name}/left") if one in by_value), None)
