"""What is served under /fhir: one table that routes, refusals and the CapabilityStatement share."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import orjson

from brachium.api.caution import CAUTION
from brachium.api.smart import security

if TYPE_CHECKING:
    from brachium.settings import Settings, SidePolicy


@dataclass(frozen=True, slots=True)
class Parameter:
    """A search parameter: its name, R4 type, and what it looks at."""

    name: str
    type: str
    words: str


ID = Parameter("_id", "token", "The logical id.")
IDENTIFIER = Parameter("identifier", "token", "A business identifier as system|value.")
PATIENT = Parameter("patient", "reference", "The patient, as id, Patient/id or absolute address.")
TARGET = Parameter("target", "reference", "What it is about, as Type/id or absolute address.")
AGENT = Parameter("agent", "reference", "Who did it, as Practitioner/id or absolute address.")
URL = Parameter("url", "uri", "The canonical URL.")


@dataclass(frozen=True, slots=True)
class Served:
    """One resource type; ``versioned`` types are stored, the others are made of the tables."""

    type: str
    parameters: tuple[Parameter, ...]
    versioned: bool = True

    @property
    def interactions(self) -> tuple[str, ...]:
        """The R4 restful-interaction codes that are served."""
        stored = ("vread", "history-instance") if self.versioned else ()
        return ("read", *stored, "search-type")

    def parameter(self, name: str) -> Parameter | None:
        """Return the search parameter of this name or ``None``."""
        return next((one for one in self.parameters if one.name == name), None)


SERVED: Mapping[str, Served] = {
    one.type: one
    for one in (
        Served("Observation", (ID, IDENTIFIER, PATIENT)),
        Served("DiagnosticReport", (ID, IDENTIFIER, PATIENT)),
        Served("Patient", (ID, IDENTIFIER)),
        Served("Practitioner", (ID, IDENTIFIER)),
        Served("Organization", (ID, IDENTIFIER)),
        Served("Provenance", (ID, TARGET, PATIENT, AGENT)),
        Served("CodeSystem", (ID, URL), versioned=False),
        Served("ValueSet", (ID, URL), versioned=False),
        Served("ConceptMap", (ID, URL), versioned=False),
    )
}
# when this table last changed; the statement is the same, byte for byte, until it does
CHANGED = "2026-11-25"
REVINCLUDE = "Provenance:target"
REVINCLUDED = frozenset(kind for kind, one in SERVED.items() if one.versioned) - {"Provenance"}


_SIDES: Mapping[SidePolicy, str] = {
    "both": "in the body site, in words and, where the tables have one, by a code with a side, "
    "which FHIR advises against saying twice and permits",
    "site": "in the body site and in words",
    "code": "beside the body site, whose code has none, in words and, where the tables have one, "
    "by a code with a side",
}


def statement(settings: Settings, version: str, edition: str) -> bytes:
    """Return the CapabilityStatement (FHIR R4 3.1.0.10); nothing is in it that is not served."""
    base, canonical = settings.public_base, settings.canonical
    body = {
        "resourceType": "CapabilityStatement",
        "url": f"{canonical}/CapabilityStatement/brachium",
        "version": version,
        "name": "Brachium",
        "title": "brachium",
        "status": "active",
        "experimental": False,
        "date": CHANGED,
        "kind": "instance",
        "software": {"name": "brachium", "version": version},
        "implementation": {"description": "Coded arm examinations", "url": f"{base}/fhir"},
        "fhirVersion": "4.0.1",
        "format": ["application/fhir+json", "json"],
        "rest": [_rest(settings, edition)],
    }
    return orjson.dumps(body)


def _rest(settings: Settings, edition: str) -> dict[str, Any]:
    snomed = "" if settings.snomed else " No SNOMED CT code goes out."
    policies = (
        f"{CAUTION}\n\n"
        "Reading only: exams come in as JSON at /exams, and nothing is ever deleted. A correction "
        "or withdrawal is a new version of every resource it touches. The end of an extension is "
        "an angle on the flexion-positive axis with 0 as straight, and its direction is stated "
        f"beside it. The side is stated {_SIDES[settings.side]}.{snomed} A search "
        "parameter that is not listed is named in an outcome entry and left out of the self link; "
        f"with Prefer: handling=strict it is refused. Coding tables: edition {edition}."
    )
    return {
        "mode": "server",
        "documentation": policies,
        "security": security(settings),
        "resource": [_resource(one) for one in SERVED.values()],
    }


def _resource(served: Served) -> dict[str, Any]:
    found: dict[str, Any] = {
        "type": served.type,
        "interaction": [{"code": code} for code in served.interactions],
        "versioning": "versioned" if served.versioned else "no-version",
        "readHistory": served.versioned,
        "updateCreate": False,
        "conditionalCreate": False,
        "conditionalRead": "not-match" if served.versioned else "not-supported",
        "conditionalUpdate": False,
        "conditionalDelete": "not-supported",
        "searchParam": [
            {"name": one.name, "type": one.type, "documentation": one.words}
            for one in served.parameters
        ],
    }
    if served.type in REVINCLUDED:
        found["searchRevInclude"] = [REVINCLUDE]
    return found


def digest_tag(text: bytes) -> str:
    """Return an entity tag that changes exactly when the text does."""
    return f'"{hashlib.sha256(text).hexdigest()[:32]}"'
