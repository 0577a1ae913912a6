"""The oracle of HL7's definitions: structure, required bindings, reference types, invariants."""

from __future__ import annotations

from collections.abc import Iterable

from tests.oracles import bindings, fhirpath_rules
from tests.oracles.complaint import Complaint
from tests.oracles.definitions import Json, structure
from tests.oracles.graph import Graph
from tests.oracles.walk import ORACLE, Visit, walk

_HL7_EXTENSION = "http://hl7.org/fhir/StructureDefinition/"


def complaints(bundle: Json) -> list[Complaint]:
    """Judge a bundle (or any single resource) by the 4.0.1 StructureDefinitions."""
    found: list[Complaint] = []
    graph = Graph.of(bundle)
    for visit in walk(bundle, str(bundle.get("resourceType")), found):
        found += fhirpath_rules.broken_rules(visit)
        found += bindings.broken_bindings(visit)
        if visit.child.type == "Reference":
            found += _wrong_target(visit, graph)
        elif visit.child.type == "Extension":
            found += _wrong_extension(visit)
    return found


def _wrong_target(visit: Visit, graph: Graph) -> Iterable[Complaint]:
    reference, allowed = visit.value.get("reference"), visit.child.targets
    if not isinstance(reference, str) or not allowed or "*" in allowed:
        return
    resource = graph.resolve(reference)
    name = resource["resourceType"] if resource else _named_type(reference)
    if name and name not in allowed:
        yield Complaint(ORACLE, visit.where, f"refers to {name}; allowed: {sorted(allowed)}")
    if visit.value.get("type", name) != name and name:
        yield Complaint(ORACLE, visit.where, f"type says {visit.value['type']}, target is {name}")


def _named_type(reference: str) -> str:
    """Return the type that a relative or conditional reference names, else an empty string."""
    head = reference.partition("/_history/")[0].partition("?")[0]
    parts = head.split("/")
    name = parts[-2] if len(parts) > 1 else parts[0]
    return name if structure(name) is not None else ""


def _wrong_extension(visit: Visit) -> Iterable[Complaint]:
    url = visit.value.get("url")
    name = url.removeprefix(_HL7_EXTENSION) if isinstance(url, str) else ""
    definition = structure(name) if url == _HL7_EXTENSION + name else None
    if definition is None:
        return
    for element in definition["snapshot"]["element"]:
        if element["path"] == "Extension.value[x]" and element["max"] != "0":
            codes = [kind["code"] for kind in element["type"]]
            keys = {"value" + code[0].upper() + code[1:] for code in codes}
            if not keys & visit.value.keys():
                yield Complaint(ORACLE, visit.where, f"{name} takes one of {sorted(keys)}")
