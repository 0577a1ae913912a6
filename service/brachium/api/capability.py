"""The CapabilityStatement, made of the tables that the routes and searches are made of."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import orjson

from brachium.api.caution import CAUTION
from brachium.api.operation_definitions import definition
from brachium.api.search_definitions import address
from brachium.api.search_parameters import Parameter
from brachium.api.served import CHANGED, OPERATIONS, SERVED, SYSTEM, Operation, Served
from brachium.api.smart import security

if TYPE_CHECKING:
    from brachium.settings import Settings, SidePolicy

_SIDES: Mapping[SidePolicy, str] = {
    "both": "in the body site, in words and, where the tables have one, by a code with a side, "
    "which FHIR advises against saying twice and permits",
    "site": "in the body site and in words",
    "code": "beside the body site, whose code has none, in words and, where the tables have one, "
    "by a code with a side",
}
_HL7 = "http://hl7.org/fhir/SearchParameter"
# parameters that R4 defines for many types at once, under a name of their own
_SHARED = {
    "_id": "Resource-id",
    "_lastUpdated": "Resource-lastUpdated",
    "_profile": "Resource-profile",
    "_tag": "Resource-tag",
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


def policies(settings: Settings, edition: str) -> dict[str, str]:
    """Return what the statement has to say in words, by subject (matrix CAP-12)."""
    snomed = "" if settings.snomed else " No SNOMED CT code goes out."
    return {
        "Delete policy": "Nothing is ever deleted. A record that must not be used is withdrawn "
        "and then has the status entered-in-error; searches find it unless they leave it out.",
        "Correction policy": "A correction is a new version of every resource it touches, says "
        "why, and names the version it changes. Every older version can be read.",
        "Sign convention": "Version 1. The end of an extension is an angle on the "
        "flexion-positive axis with 0 as straight, and its direction is stated beside it. The "
        f"side is stated {_SIDES[settings.side]}.{snomed}",
        "Coding tables": f"Edition {edition}.",
        "Unknown parameters": "A search parameter that is not listed is named in an outcome entry "
        "and left out of the self link; with Prefer: handling=strict it is refused. A modifier or "
        "a value that cannot be used is always refused. A date without a zone is in UTC.",
    }


def _rest(settings: Settings, edition: str) -> dict[str, Any]:
    told = [f"{name}: {words}" for name, words in policies(settings, edition).items()]
    resources = [_resource(one, settings.canonical) for one in SERVED.values()]
    apart = {one.type for one in OPERATIONS if one.type} - SERVED.keys()
    resources += [
        {"type": kind, "operation": _operations(settings.canonical, kind)} for kind in sorted(apart)
    ]
    found: dict[str, Any] = {
        "mode": "server",
        "documentation": "\n\n".join([CAUTION, *told]),
        "security": security(settings),
        "resource": resources,
    }
    if SYSTEM:
        found["interaction"] = [{"code": code} for code in SYSTEM]
    operations = _operations(settings.canonical, "")
    return {**found, "operation": operations} if operations else found


def _resource(served: Served, canonical: str) -> dict[str, Any]:
    profiles = [one if "://" in one else f"{canonical}/{one}" for one in served.profiles]
    updated = "update" in served.writes
    versioning = "versioned-update" if updated else "versioned"
    found: dict[str, Any] = {
        "type": served.type,
        "supportedProfile": profiles,
        "interaction": [{"code": code} for code in served.interactions],
        "versioning": versioning if served.versioned else "no-version",
        "readHistory": served.versioned,
        "updateCreate": False,
        "conditionalCreate": served.conditional_create,
        "conditionalRead": "full-support" if served.versioned else "not-match",
        "conditionalUpdate": served.conditional_update,
        "conditionalDelete": "not-supported",
        "searchInclude": list(served.includes),
        "searchRevInclude": list(served.revincludes),
        "searchParam": [_parameter(served, one, canonical) for one in served.parameters],
        "operation": _operations(canonical, served.type),
    }
    # an empty array is not allowed (FHIR R4 json 2.6.2.3)
    return {name: value for name, value in found.items() if value != []}


def _parameter(served: Served, one: Parameter, canonical: str) -> dict[str, str]:
    found = {"name": one.name}
    if one.expression:
        found["definition"] = address(canonical, served.type, one)
    elif one.name in _SHARED:
        found["definition"] = f"{_HL7}/{_SHARED[one.name]}"
    return {**found, "type": one.type, "documentation": _documented(one)}


def _documented(one: Parameter) -> str:
    behind = [f":{name}" for name in (*one.modifiers, *one.targets)]
    behind += [f".{name}" for name in one.chains]
    return f"{one.words} Takes {', '.join(behind)}." if behind else one.words


def _operations(canonical: str, kind: str) -> list[dict[str, str]]:
    return [_operation(canonical, one) for one in OPERATIONS if one.type == kind]


def _operation(canonical: str, one: Operation) -> dict[str, str]:
    url = definition(canonical, one)
    return {"name": one.name, "definition": url, "documentation": one.words}


def digest_tag(text: bytes) -> str:
    """Return an entity tag that changes exactly when the text does."""
    return f'"{hashlib.sha256(text).hexdigest()[:32]}"'
