"""A profile as a StructureDefinition resource, with differential and snapshot."""

from __future__ import annotations

from typing import Any, TypeAlias

from brachium.profiles.base import HL7, Base, Element, Rule, Slicing, Type
from brachium.profiles.rows import Profile
from brachium.profiles.snapshot import snapshot

Json: TypeAlias = Any

_FHIR_TYPE = HL7 + "structuredefinition-fhir-type"
_MODIFIES = "It changes what the resource means, or says that it does not hold."


def address(canonical: str, name: str) -> str:
    """Return the canonical URL of one of our StructureDefinitions."""
    return f"{canonical}/StructureDefinition/{name}"


def structure(profile: Profile, base: Base, canonical: str, version: str) -> Json:
    """Return the StructureDefinition of a profile (FHIR R4 5.1)."""
    url = address(canonical, profile.name)
    elements = snapshot(profile, base)
    kind = base.types[profile.base].kind
    touched = {row.id for row in profile.rows} | {profile.base}
    named = {rule.key for row in profile.rows for rule in row.rules}
    found = {
        "resourceType": "StructureDefinition",
        "id": profile.name,
        "url": url,
        "version": version,
        "name": "".join(part.capitalize() for part in profile.name.split("-")),
        "title": profile.title,
        "status": "active",
        "experimental": False,
        "description": profile.words,
        "fhirVersion": "4.0.1",
        "kind": kind,
        "abstract": False,
        "type": profile.base,
        "baseDefinition": HL7 + profile.base,
        "derivation": "constraint",
        "snapshot": {"element": [_element(one, profile, url) for one in elements]},
        "differential": {
            "element": [_changed(one, profile, url, named) for one in elements if one.id in touched]
        },
    }
    if profile.contexts:
        found["context"] = [{"type": "element", "expression": one} for one in profile.contexts]
    return found


def _element(one: Element, profile: Profile, url: str) -> Json:
    """Return an element of the snapshot, with definition, counts and base (sdf-3, sdf-8b)."""
    found = _named(one)
    found["definition"] = _definition(one, profile)
    own, least, most = one.base
    found |= {"min": one.least, "max": one.most}
    found["base"] = {"path": own, "min": least, "max": most}
    if one.content:
        found["contentReference"] = f"#{one.content}"
    elif one.types:
        found["type"] = [_type(kind) for kind in one.types]
    found |= _fixed(one)
    if one.rules:
        found["constraint"] = [_rule(rule, url) for rule in one.rules]
    if one.modifier:
        found |= {"isModifier": True, "isModifierReason": _MODIFIES}
    if one.summary:
        found["isSummary"] = True
    return found


def _changed(one: Element, profile: Profile, url: str, named: set[str]) -> Json:
    """Return an element of the differential: what the rows say of it."""
    found = _named(one)
    if "." in one.id:
        found |= {"min": one.least, "max": one.most}
        rows = [row for row in profile.rows if row.id == one.id]
        if any(row.types for row in rows):
            found["type"] = [_type(kind) for kind in one.types]
        found |= _fixed(one) if any(row.set or row.values for row in rows) else {}
    if one.words:
        found["definition"] = one.words
    own = [_rule(rule, url) for rule in one.rules if rule.key in named]
    return {**found, "constraint": own} if own else found


def _named(one: Element) -> Json:
    found: Json = {"id": one.id, "path": one.path}
    if one.slice:
        found["sliceName"] = one.slice
    if one.slicing is not None:
        found["slicing"] = _slicing(one.slicing)
    return found


def _slicing(slicing: Slicing) -> Json:
    told = {"type": slicing.by, "path": slicing.path}
    return {"discriminator": [told], "ordered": False, "rules": "open"}


def _definition(one: Element, profile: Profile) -> str:
    if "." not in one.id:
        return profile.words
    return one.words or f"As FHIR R4 defines {one.base[0]}."


def _type(kind: Type) -> Json:
    found: Json = {"code": kind.code}
    if kind.fhir:
        found = {"extension": [{"url": _FHIR_TYPE, "valueUrl": kind.fhir}], **found}
    if kind.profiles:
        found["profile"] = list(kind.profiles)
    if kind.targets:
        found["targetProfile"] = [one if "://" in one else HL7 + one for one in kind.targets]
    return found


def _fixed(one: Element) -> Json:
    found: Json = {}
    if one.set is not None:
        found[one.set[0]] = one.set[1]
    if one.binding is not None:
        found["binding"] = {"strength": one.binding.strength, "valueSet": one.binding.values}
    return found


def _rule(rule: Rule, url: str) -> Json:
    return {
        "key": rule.key,
        "severity": rule.severity,
        "human": rule.human,
        "expression": rule.expression,
        "source": rule.source or url,
    }
