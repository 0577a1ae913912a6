"""The value sets that our profiles bind to, made of the tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, TypeAlias

from brachium.coding.fhir import ABSENT_REASON, INTERPRETATION, YES_NO, OwnUrls
from brachium.profiles.finding_rows import KINDS, profile_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brachium.tables.load import Tables

Json: TypeAlias = Any

_GROUPS = {
    "site": "Places of findings",
    "method": "Methods of examination",
}
_PREFIXES = {"outcome": "Outcomes of a whole part", "dominant": "Dominant hands"}


def value_sets(tables: Tables, canonical: str) -> Iterator[tuple[str, str, list[Json]]]:
    """Yield name, title and ``compose.include`` of every value set."""
    own = OwnUrls(canonical).concepts
    for kind in KINDS:
        title = f"Codes of: {kind.title}"
        yield profile_name(kind.name), title, [_own(own, tables, *kind.concepts)]
    for group, title in _GROUPS.items():
        yield f"arm-exam-{group}", title, [_own(own, tables, group)]
    for prefix, title in _PREFIXES.items():
        codes = [c for c in tables.concepts if c.startswith(f"{prefix}-") and c != "dominant-hand"]
        yield f"arm-exam-{prefix}", title, [_listed(own, codes)]
    yield "arm-exam-presence", "Whether a sign is there", [_listed(YES_NO, ("Y", "N"))]
    judged = _listed(INTERPRETATION, ("A", "H", "L", "N"))
    yield "arm-exam-interpretation", "How a value stands to its range", [judged]
    reasons = _listed(ABSENT_REASON, ("asked-declined", "not-applicable", "not-performed"))
    absences = _own(own, tables, "absence")
    yield "arm-exam-absence", "Why a finding has no result", [reasons, absences]
    report = _listed(own, ("arm-exam-report",))
    yield "arm-exam-report", "Codes of the report", [report]


def _own(system: str, tables: Tables, *kinds: str) -> Json:
    return _listed(system, (row.code for row in tables.concepts.values() if row.kind in kinds))


def _listed(system: str, codes: Iterable[str]) -> Json:
    return {"system": system, "concept": [{"code": code} for code in sorted(set(codes))]}


def members(tables: Tables, canonical: str) -> Mapping[str, Mapping[str, frozenset[str]]]:
    """Return the codes of every value set, by system, by its canonical URL."""
    found: dict[str, Mapping[str, frozenset[str]]] = {}
    for name, _, include in value_sets(tables, canonical):
        codes = {
            part["system"]: frozenset(one["code"] for one in part["concept"]) for part in include
        }
        found[f"{canonical}/ValueSet/{name}"] = codes
    return found
