"""One Observation back to the finding it was made of."""

from __future__ import annotations

from typing import Any

from brachium.coding.fhir import BODY_POSITION, LATERALITY, UCUM, OwnUrls
from brachium.coding.lexicon import Reader, Words
from brachium.problems import Problem, Severity
from brachium.tables.load import Tables

_SIDES = ("left", "right", "both")
_WITH_METHOD = ("motion", "strength")


def finding_of(observation: dict[str, Any], reader: Reader, words: Words) -> dict[str, Any]:
    """Return the finding without its key; ``LookupError`` for a code that the tables lack."""
    found = dict(words.findings[reader.own(observation["code"])])
    place = words.places[reader.own(observation["bodySite"])]
    found["joint"] = place.joint
    found["side"] = side_of(observation, words.tables, reader.urls)
    found |= {name: word for name, word in (("site", place.site), ("digit", place.digit)) if word}
    if "dataAbsentReason" in observation:
        found["absent"] = dict(words.absences[reader.own(observation["dataAbsentReason"])])
    else:
        found |= _result(observation, found, reader, words)
    found |= _components(observation, found, reader, words)
    found |= _how(observation, found["kind"], reader)
    if "note" in observation:
        found["note"] = observation["note"][0]["text"]
    return found


def _result(
    observation: dict[str, Any], found: dict[str, Any], reader: Reader, words: Words
) -> dict[str, Any]:
    if found["kind"] == "part":
        return {"outcome": reader.word(observation["valueCodeableConcept"], "outcome-")}
    if found["kind"] in ("inspection", "palpation"):
        code = observation["valueCodeableConcept"]["coding"][0]["code"]
        return {"present": code == "Y"}
    if "valueCodeableConcept" in observation:
        return {"grade": observation["valueCodeableConcept"]["coding"][0]["code"]}
    if found["kind"] == "strength":
        return {}  # every trial is a component
    measured = _quantity(observation["valueQuantity"], words)
    measure = words.tables.motions[found["joint"], found["motion"]].measure
    if measure != "end":
        return {measure: _original(observation, reader, words) or measured}
    if not measured["value"]:
        return {"end": "straight"}
    end = "short-of-straight" if measured["value"] > 0 else "beyond-straight"
    size = {"value": abs(measured["value"]), "unit": measured["unit"]}
    return {"end": end, "magnitude": _original(observation, reader, words) or size}


def _original(observation: dict[str, Any], reader: Reader, words: Words) -> dict[str, Any] | None:
    for component in observation.get("component", ()):
        if reader.own(component["code"]) == "original-quantity":
            return _quantity(component["valueQuantity"], words)
    return None


def _components(
    observation: dict[str, Any], found: dict[str, Any], reader: Reader, words: Words
) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for component in observation.get("component", ()):
        name = reader.own(component["code"])
        if name == "severity":
            members["severity"] = component["valueQuantity"]["value"]
        elif name == "trial":
            trial = _quantity(component["valueQuantity"], words)
            members.setdefault("trials", []).append(trial)
        elif name == "original-quantity" and found["kind"] == "strength":
            members["trials"][-1] = _quantity(component["valueQuantity"], words)
        elif name == "arm-position":
            coded = component["valueCodeableConcept"]
            members["armPosition"] = reader.word(coded, "arm-position-")
        elif name == "limited-by":
            word = reader.word(component["valueCodeableConcept"], "limited-by-")
            members.setdefault("limitedBy", []).append(word)
    return members


def _how(observation: dict[str, Any], kind: str, reader: Reader) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for extension in observation.get("extension", ()):
        if extension["url"] == BODY_POSITION:
            members["position"] = reader.word(extension["valueCodeableConcept"], "position-")
    method = observation.get("method")
    # a method that nobody stated has the extension; other kinds are their own method
    if kind in _WITH_METHOD and method is not None and "extension" not in method:
        members["method"] = reader.word(method, "method-")
    return members


def _quantity(quantity: dict[str, Any], words: Words) -> dict[str, Any]:
    if quantity["system"] != UCUM:
        raise LookupError("a quantity without UCUM")
    return {"value": quantity["value"], "unit": words.units[quantity["code"]]}


def side_of(observation: dict[str, Any], tables: Tables, urls: OwnUrls) -> str:
    """Return left, right or both from the laterality of bodySite (OBS-05)."""
    laterality = next(
        extension["valueCodeableConcept"]
        for extension in observation["bodySite"]["extension"]
        if extension["url"] == LATERALITY
    )
    codes = {(c["system"], c["code"]) for c in laterality["coding"]}
    for side in _SIDES:
        known = {(urls.concepts, f"side-{side}")} | _mapped(tables, f"side-{side}")
        if codes & known:
            return side
    raise LookupError("a laterality that is none of left, right, both")


def side_problem(observation: dict[str, Any], tables: Tables, canonical: str) -> Problem | None:
    """Return the problem of an Observation whose places of the side disagree (msk-lat-1)."""
    stated = side_of(observation, tables, OwnUrls(canonical))
    codes = {(c["system"], c["code"]) for c in observation["code"]["coding"]}
    sites = {c["code"] for c in observation["bodySite"].get("coding", ())}
    for side in ("left", "right"):
        if side != stated and (codes & _sided(tables, side) or sites & _sided_sites(tables, side)):
            return Problem(
                code="side-contradiction",
                severity=Severity.ERROR,
                pointer="/Observation/bodySite",
                message=f"The laterality says {stated}, a code says {side}.",
                remedy="Correct the side; nothing is taken over until both agree.",
                source="own rule msk-lat-1; FHIR R4 Observation.bodySite",
                issue_type="invariant",
            )
    return None


def _mapped(tables: Tables, concept: str) -> set[tuple[str, str]]:
    return {(tables.systems[row.system].uri, row.code) for row in tables.maps.get(concept, ())}


def _sided(tables: Tables, side: str) -> set[tuple[str, str]]:
    return {
        (tables.systems[row.system].uri, row.code)
        for rows in tables.maps.values()
        for row in rows
        if row.side == side
    }


def _sided_sites(tables: Tables, side: str) -> set[str]:
    rows = tables.structures.values()
    codes = {row.snomed_left if side == "left" else row.snomed_right for row in rows}
    return codes - {""}
