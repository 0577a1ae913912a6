"""What IHE BALP 1.1.4 wants of an AuditEvent of a successful request, written from its profiles.

Create, Read, Update and Query, with the patient or without. Several patients in one event are
allowed here: one request is one event of ours.
"""

from __future__ import annotations

from typing import Any

DCM = "http://dicom.nema.org/resources/ontology/DCM"
HL7 = "http://terminology.hl7.org/CodeSystem"
REQUEST = "https://profiles.ihe.net/ITI/BALP/CodeSystem/BasicAuditEntityType"
SOURCE, DESTINATION = "110153", "110152"
# action by interaction, and the role of the client
PATTERNS = {
    "create": ("C", SOURCE),
    "update": ("U", SOURCE),
    "read": ("R", DESTINATION),
    "vread": ("R", DESTINATION),
    "search-type": ("E", SOURCE),
}


def complaints(event: dict[str, Any]) -> list[str]:
    """Everything in which an event departs from its pattern; what has none is not judged."""
    interaction = next((one["code"] for one in event.get("subtype", ())), "")
    if event["type"]["code"] != "rest" or interaction not in PATTERNS:
        return []
    action, theirs = PATTERNS[interaction]
    ours = DESTINATION if theirs == SOURCE else SOURCE
    found = [
        f"{what} of a {interaction}"
        for what, holds in {
            "system of type": event["type"]["system"] == f"{HL7}/audit-event-type",
            "action": event["action"] == action,
            "outcome": event["outcome"] == "0",
            "two agents": len(event["agent"]) >= 2,
        }.items()
        if not holds
    ]
    for name, code in (("client", theirs), ("server", ours)):
        agents = [one for one in event["agent"] if has_role(one, code)]
        found += [] if len(agents) == 1 else [f"{name}: {len(agents)} agents"]
        for agent in agents:
            found += [f"{name}.{part}" for part in ("who", "network") if not agent.get(part)]
            found += [f"{name}.media"] if "media" in agent else []
    return found + entity_complaints(event, interaction)


def has_role(agent: dict[str, Any], code: str) -> bool:
    """Whether an agent has a role of the DICOM vocabulary."""
    codings = agent.get("type", {}).get("coding", ())
    return any((one["system"], one["code"]) == (DCM, code) for one in codings)


def entities(event: dict[str, Any], kind: str, role: str) -> list[dict[str, Any]]:
    """The entities with these codes of audit-entity-type and object-role."""
    wanted = ((f"{HL7}/audit-entity-type", kind), (f"{HL7}/object-role", role))
    return [one for one in event["entity"] if _codes(one) == wanted]


def _codes(entity: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    return tuple(
        (entity.get(name, {}).get("system", ""), entity.get(name, {}).get("code", ""))
        for name in ("type", "role")
    )


def entity_complaints(event: dict[str, Any], interaction: str) -> list[str]:
    """What is wrong with what an event is about."""
    found = [
        "the patient is none"
        for patient in entities(event, "1", "1")
        if not patient["what"]["reference"].startswith("Patient/")
    ]
    for one in event["entity"]:
        is_request = one.get("type", {}).get("system") == REQUEST
        if is_request and not one["what"]["identifier"]["value"]:
            found.append("a request without an id")
        if "name" in one and "query" in one:
            found.append("sev-1")
    queries = entities(event, "2", "24")
    if interaction == "search-type":
        found += [] if len(queries) == 1 and queries[0].get("query") else ["no single query"]
        found += [f"query.{name}" for one in queries for name in one.keys() & {"what", "detail"}]
    elif not entities(event, "2", "4"):
        found.append("no data")
    return found
