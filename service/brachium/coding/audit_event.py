"""Entries of the audit as FHIR R4 AuditEvent, in the patterns of IHE BALP 1.1.4 (AUD-01 to 06).

Codes of the DICOM vocabulary (DCM) are those that R4 lists for AuditEvent; a test compares each
with HL7's definitions.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping
from importlib import metadata
from typing import Any, NamedTuple, TypeAlias
from urllib.parse import quote

import orjson

from brachium.coding.fhir import OwnUrls
from brachium.records import THIS_MACHINE, AuditEntry, AuditRow, SearchValue

Json: TypeAlias = Any

DCM = "http://dicom.nema.org/resources/ontology/DCM"
_HL7 = "http://terminology.hl7.org/CodeSystem"
EVENT_TYPE = f"{_HL7}/audit-event-type"
RESTFUL = "http://hl7.org/fhir/restful-interaction"
ACTION = "http://hl7.org/fhir/audit-event-action"
OUTCOME = "http://hl7.org/fhir/audit-event-outcome"
_ENTITY, _ROLE = f"{_HL7}/audit-entity-type", f"{_HL7}/object-role"
_SOURCE = f"{_HL7}/security-source-type"
BALP_ENTITY = "https://profiles.ihe.net/ITI/BALP/CodeSystem/BasicAuditEntityType"


class Kind(NamedTuple):
    """How an action is told: AuditEvent.type, subtype and action."""

    type: Mapping[str, str]
    subtype: Mapping[str, str] | None
    action: str


def _coding(system: str, code: str, display: str) -> dict[str, str]:
    return {"system": system, "code": code, "display": display}


_REST = _coding(EVENT_TYPE, "rest", "RESTful Operation")


def _rest(code: str, action: str) -> Kind:
    return Kind(_REST, _coding(RESTFUL, code, code), action)


CONFIGURING = "configure"
LOGIN = Kind(_coding(DCM, "110114", "User Authentication"), _coding(DCM, "110122", "Login"), "E")
CONFIGURED = Kind(
    _coding(DCM, "110113", "Security Alert"), _coding(DCM, "110129", "Security Configuration"), "U"
)
# whoever keeps the end of the trail makes use of the trail
CHECKPOINT = Kind(_coding(DCM, "110101", "Audit Log Used"), None, "E")
KINDS: Mapping[str, Kind] = {
    "create": _rest("create", "C"),
    "correct": _rest("update", "U"),
    "withdraw": _rest("update", "U"),
    "close": _rest("update", "U"),
    "read": _rest("read", "R"),
    "vread": _rest("vread", "R"),
    "update": _rest("update", "U"),
    "delete": _rest("delete", "D"),
    "patch": _rest("patch", "U"),
    "search-type": _rest("search-type", "E"),
    "history-instance": _rest("history-instance", "E"),
    "history-type": _rest("history-type", "E"),
    "history-system": _rest("history-system", "E"),
    "transaction": _rest("transaction", "E"),
    "batch": _rest("batch", "E"),
    "operation": _rest("operation", "E"),
    "login": LOGIN,
    CONFIGURING: CONFIGURED,
    "checkpoint": CHECKPOINT,
}
# BALP wants the request of these even when it has no parameters
_QUERIES = frozenset({"search-type", "history-instance", "history-type", "history-system"})
# what stands in the path of an address as it is (RFC 3986 3.3)
_IN_PATHS = "/:@!$&'()*+,;=~"
# R4 network-type
_IP_ADDRESS, _URI = "2", "5"
# success, minor and serious failure (R4 audit-event-outcome)
_OUTCOMES = {"created": "0", "same": "0", "done": "0", "failed": "8"}
_REFUSED = "4"


def kind_of(entry: AuditEntry) -> Kind:
    """Return how an entry is told."""
    return KINDS[entry.action]


def outcome_of(entry: AuditEntry) -> str:
    """Return the R4 outcome: what was refused is a minor failure, what went wrong a serious one."""
    return _OUTCOMES.get(entry.outcome, _REFUSED)


class AuditEvents:
    """Tells entries as AuditEvents.

    ``canonical`` is the base of our own URLs, ``address`` that at which the service is reached.
    """

    def __init__(self, canonical: str, address: str) -> None:
        urls = OwnUrls(canonical)
        self._address = address
        self.clients = f"{canonical}/NamingSystem/client"
        self._service = {
            "identifier": {
                "system": urls.service,
                "value": f"brachium/{metadata.version('brachium')}",
            },
            "display": "brachium",
        }

    def terms(self, entry: AuditEntry) -> Iterator[SearchValue]:
        """Yield what an entry is found by (R4 AuditEvent search parameters)."""
        kind = kind_of(entry)
        yield SearchValue("type", f"{kind.type['system']}|{kind.type['code']}")
        if kind.subtype:
            yield SearchValue("subtype", f"{kind.subtype['system']}|{kind.subtype['code']}")
        yield SearchValue("action", f"{ACTION}|{kind.action}")
        yield SearchValue("outcome", f"{OUTCOME}|{outcome_of(entry)}")
        for patient in entry.patients:
            yield SearchValue("patient", patient)
            yield SearchValue("entity", patient)
        for reference in entry.data:
            yield SearchValue("entity", reference.partition("/_history/")[0])
        for name, value in (("policy", entry.policy), ("address", entry.address)):
            if value:
                yield SearchValue(name, value)
        if entry.client and entry.action != CONFIGURING:
            yield SearchValue("agent:identifier", f"{self.clients}|{entry.client}")

    def text(self, row: AuditRow) -> bytes:
        """Return the AuditEvent of a row of the audit as JSON text."""
        entry, kind = row.entry, kind_of(row.entry)
        event: dict[str, Json] = {
            "resourceType": "AuditEvent",
            "id": f"audit-{row.number}",
            "meta": {"versionId": "1", "lastUpdated": entry.at},
            "type": kind.type,
            **({"subtype": [kind.subtype]} if kind.subtype else {}),
            "action": kind.action,
            "recorded": entry.at,
            "outcome": outcome_of(entry),
            "outcomeDesc": entry.reason or entry.outcome,
            "agent": self._agents(entry, kind.action),
            "source": {
                "observer": self._service,
                "type": [_coding(_SOURCE, "4", "Application Server")],
            },
            "entity": list(self._entities(row)),
        }
        return orjson.dumps(event)

    def _agents(self, entry: AuditEntry, action: str) -> list[Json]:
        """BALP: who sends data is the source; for a read that is the service."""
        source = _coding(DCM, "110153", "Source Role ID")
        destination = _coding(DCM, "110152", "Destination Role ID")
        theirs, ours = (destination, source) if action == "R" else (source, destination)
        client: dict[str, Json] = {
            "type": {"coding": [theirs]},
            "who": self._who(entry),
            "requestor": True,
        }
        if entry.role and entry.client:
            client["role"] = [{"text": entry.role}]
        if entry.policy:
            client["policy"] = [entry.policy]
        if entry.address:
            client["network"] = {"address": entry.address, "type": _IP_ADDRESS}
        service = {
            "type": {"coding": [ours]},
            "who": self._service,
            "requestor": False,
            "network": {"address": self._address, "type": _URI},
        }
        return [client, service]

    def _who(self, entry: AuditEntry) -> Json:
        if entry.client and entry.action != CONFIGURING:
            return self._client(entry.client)
        # what has no request was done by a command beside the service
        here = entry.role == THIS_MACHINE or not entry.method
        return self._client(THIS_MACHINE) if here else {"display": "somebody without a login"}

    def _client(self, name: str) -> Json:
        return {"identifier": {"system": self.clients, "value": name}}

    def _entities(self, row: AuditRow) -> Iterator[Json]:
        entry = row.entry
        for patient in entry.patients:
            yield {
                "what": {"reference": patient},
                "type": _coding(_ENTITY, "1", "Person"),
                "role": _coding(_ROLE, "1", "Patient"),
            }
        whats = [{"reference": reference} for reference in entry.data]
        if entry.action == CONFIGURING:
            whats.append(self._client(entry.client))
        for what in whats:
            yield {
                "what": what,
                "type": _coding(_ENTITY, "2", "System Object"),
                "role": _coding(_ROLE, "4", "Domain Resource"),
            }
        if entry.query or entry.form or entry.interaction in _QUERIES:
            # sev-1: an entity has a name or a query, never both
            yield {
                "type": _coding(_ENTITY, "2", "System Object"),
                "role": _coding(_ROLE, "24", "Query"),
                "query": base64.b64encode(self._asked(entry)).decode(),
            }
        yield _transaction(row)

    def _asked(self, entry: AuditEntry) -> bytes:
        """The address exactly as it was asked for, and behind an empty line the form."""
        asked = f"{self._address}{quote(entry.path, safe=_IN_PATHS)}"
        asked += f"?{entry.query}" if entry.query else ""
        asked += f"\r\n\r\n{entry.form}" if entry.form else ""
        # each character stands for the byte that came
        return asked.encode("latin-1", "replace")


def _transaction(row: AuditRow) -> Json:
    """The request by its id, with what there is no element for; a command has no request."""
    details = list(_details(row))
    if not row.entry.request:
        return {"type": _coding(_ENTITY, "2", "System Object"), "detail": details}
    identifier = {"value": row.entry.request.partition(" ")[0]}
    kind = {"system": BALP_ENTITY, "code": "XrequestId"}
    return {"what": {"identifier": identifier}, "type": kind, "detail": details}


def _details(row: AuditRow) -> Iterator[Json]:
    """Yield what R4 has no element for, each with our own word for it."""
    entry = row.entry
    told = {
        "chain-number": str(row.number),
        "chain-hash": row.hash,
        "request": f"{entry.method} {entry.path}".strip(),
        "status": str(entry.status or ""),
        "client-request-id": entry.request.partition(" ")[2],
        "sha-256": entry.digest,
        "exam": f"{entry.exam}/{entry.version}" if entry.exam else "",
        "prompts-shown": " ".join(entry.shown),
    }
    for name, value in told.items():
        if value:
            yield {"type": name, "valueString": value}
