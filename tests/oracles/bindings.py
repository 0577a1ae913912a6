"""Required bindings and the content of HL7's own code systems, read from the 4.0.1 package."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from tests.oracles.complaint import Complaint
from tests.oracles.definitions import Json, by_url
from tests.oracles.walk import Visit

ORACLE = "bindings"

# Required bindings whose codes are not listed in the package, with the reason.
NOT_LISTED = {
    "http://hl7.org/fhir/ValueSet/mimetypes": "media types are a grammar, not a list",
    "http://hl7.org/fhir/ValueSet/all-languages": "language tags are a grammar, not a list",
    "http://hl7.org/fhir/ValueSet/ucum-units": "UCUM is a grammar; units have a check of their own",
    "http://hl7.org/fhir/ValueSet/currencies": "ISO 4217 is not in the package; no money here",
}

Codes = frozenset[tuple[str, str]]


@cache
def expansion(url: str) -> Codes | None:
    """Return (system, code) of every member of a value set; None when it cannot be listed."""
    url = url.split("|")[0]
    if url in NOT_LISTED:
        return None
    value_set = by_url(url)
    if value_set is None:
        raise LookupError(f"value set {url} is not in the package")
    members: set[tuple[str, str]] = set()
    for part in value_set["compose"]["include"]:
        members |= _included(url, part)
    for part in value_set["compose"].get("exclude", ()):
        members -= _included(url, part)
    return frozenset(members)


def _included(url: str, part: Json) -> set[tuple[str, str]]:
    if "filter" in part:
        raise LookupError(f"value set {url} uses a filter; name it in NOT_LISTED with a reason")
    system = part.get("system")
    if "concept" in part:
        return {(system, concept["code"]) for concept in part["concept"]}
    members = {(system, code) for code in concepts(system)} if system else set()
    for nested in part.get("valueSet", ()):
        members |= expansion(nested) or set()
    if not members:
        raise LookupError(f"value set {url} cannot be listed; name it in NOT_LISTED with a reason")
    return members


@cache
def concepts(system: str) -> dict[str, frozenset[str]]:
    """Return the displays of every code of a code system in the package, empty when unknown."""
    found = by_url(system)
    if found is None or found["resourceType"] != "CodeSystem" or found["content"] != "complete":
        return {}
    return dict(_flatten(found.get("concept", ())))


def _flatten(items: Iterable[Json]) -> Iterable[tuple[str, frozenset[str]]]:
    for item in items:
        other = (designation["value"] for designation in item.get("designation", ()))
        yield item["code"], frozenset((item.get("display", ""), *other))
        yield from _flatten(item.get("concept", ()))


def broken_bindings(visit: Visit) -> Iterable[Complaint]:
    """Yield a complaint for a code outside its required value set or unknown to HL7's system."""
    if visit.child.type == "Coding":
        yield from _coding_faults(visit.value, visit.where)
    members = expansion(visit.child.binding) if visit.child.binding else None
    if members is not None and not _bound(visit.value, members):
        name = visit.child.binding.split("|")[0].rsplit("/", 1)[1]
        yield Complaint(ORACLE, visit.where, f"not in the required value set {name}")


def _bound(value: Any, members: Codes) -> bool:
    if isinstance(value, str):
        return any(code == value for _, code in members)
    codings = value.get("coding", [value]) if isinstance(value, dict) else []
    return any((coding.get("system"), coding.get("code")) in members for coding in codings)


def _coding_faults(coding: Json, where: str) -> Iterable[Complaint]:
    known = concepts(coding.get("system", ""))
    if not known:
        return
    displays = known.get(coding.get("code", ""))
    if displays is None:
        yield Complaint(ORACLE, where, f"no code {coding.get('code')!r} in {coding['system']}")
    elif coding.get("display", next(iter(displays))) not in displays:
        yield Complaint(ORACLE, where, f"display of {coding['code']} is {min(displays)!r}")
