"""What stays of a resource that is asked for in part: facts of the R4 definitions, as rows.

Source: HL7, package hl7.fhir.r4.core 4.0.1, the StructureDefinition of each type: ``summary`` holds
the paths with isSummary, ``mandatory`` the members with min above 0, ``modifiers`` those with
isModifier. ``id``, ``meta`` and ``implicitRules`` are all of these everywhere and stand in
``ALWAYS``; a test reads the definitions and compares.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

ALWAYS = ("resourceType", "id", "meta", "implicitRules", "modifierExtension")


class Facts(NamedTuple):
    """The three facts of one type, each with blanks between the paths."""

    summary: str
    mandatory: str = ""
    modifiers: str = ""


FACTS: Mapping[str, Facts] = {
    "Patient": Facts(
        "identifier active name telecom gender birthDate deceased[x] address "
        "managingOrganization link link.other link.type",
        "",
        "active deceased[x] link",
    ),
    "Practitioner": Facts("identifier active name telecom address gender birthDate", "", ""),
    "Organization": Facts("identifier active type name partOf", "", "active"),
    "Device": Facts(
        "udiCarrier udiCarrier.deviceIdentifier udiCarrier.carrierAIDC "
        "udiCarrier.carrierHRF status safety",
        "",
        "status",
    ),
    "Observation": Facts(
        "identifier basedOn partOf status code subject focus encounter effective[x] issued "
        "performer value[x] hasMember derivedFrom component component.code "
        "component.value[x]",
        "status code",
        "status",
    ),
    "DiagnosticReport": Facts(
        "identifier status category code subject encounter effective[x] issued performer "
        "resultsInterpreter media media.link",
        "status code",
        "status",
    ),
    "Provenance": Facts(
        "target recorded agent.type agent.who entity.role entity.what", "target recorded agent", ""
    ),
    "CodeSystem": Facts(
        "url identifier version name title status experimental date publisher contact "
        "useContext jurisdiction caseSensitive valueSet hierarchyMeaning compositional "
        "versionNeeded content supplements count filter filter.code filter.description "
        "filter.operator filter.value property property.code property.uri "
        "property.description property.type",
        "status content",
        "status",
    ),
    "ValueSet": Facts(
        "url identifier version name title status experimental date publisher contact "
        "useContext jurisdiction immutable compose.lockedDate compose.inactive "
        "compose.include compose.include.system compose.include.version "
        "compose.include.filter compose.include.filter.property compose.include.filter.op "
        "compose.include.filter.value compose.include.valueSet",
        "status",
        "status",
    ),
    "ConceptMap": Facts(
        "url identifier version name title status experimental date publisher contact "
        "useContext jurisdiction source[x] target[x]",
        "status",
        "status",
    ),
    "StructureDefinition": Facts(
        "url identifier version name title status experimental date publisher contact "
        "useContext jurisdiction keyword fhirVersion kind abstract context context.type "
        "context.expression contextInvariant type baseDefinition derivation",
        "url name status kind abstract type",
        "status",
    ),
    "Questionnaire": Facts(
        "url identifier version name title status experimental subjectType date publisher "
        "contact useContext jurisdiction effectivePeriod code",
        "status",
        "status",
    ),
    "SearchParameter": Facts(
        "url version name status experimental date publisher contact description useContext "
        "jurisdiction code base type",
        "url name status description code base type",
        "status",
    ),
    "OperationDefinition": Facts(
        "url version name title status kind experimental date publisher contact useContext "
        "jurisdiction affectsState code base resource system type instance",
        "name status kind code system type instance",
        "status",
    ),
    "NamingSystem": Facts(
        "name status kind date publisher contact useContext jurisdiction uniqueId "
        "uniqueId.type uniqueId.value",
        "name status kind date uniqueId",
        "status",
    ),
    "QuestionnaireResponse": Facts(
        "identifier basedOn partOf questionnaire status subject encounter authored author source",
        "status",
        "status",
    ),
    "AuditEvent": Facts(
        "type subtype action recorded outcome outcomeDesc purposeOfEvent agent.who "
        "agent.requestor source.observer entity.what entity.name entity.query",
        "type recorded agent source",
        "",
    ),
    "Group": Facts(
        "identifier active type actual code name quantity managingEntity", "type actual", ""
    ),
}
