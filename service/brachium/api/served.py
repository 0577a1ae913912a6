"""What is served under /fhir: the tables that routes, refusals and the CapabilityStatement share.

How other parts of the service add to it:

- a type: a row in ``SERVED``, with its search parameters from ``search_parameters``;
- create or update of a type: its code in ``writes`` of the row;
- an interaction of the whole system (transaction, batch): its code in ``SYSTEM``;
- an operation: a row in ``OPERATIONS``. An operation of our own gets an OperationDefinition made
  of the row; one of HL7's is named by its canonical URL. The route itself is added in ``routes``
  before the general ones, and a test asks every operation for its route.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from brachium.api import search_parameters as by
from brachium.api.search_parameters import ALWAYS, ID, Parameter

PROVENANCE = ("Provenance", "target")


class Served(NamedTuple):
    """One resource type; ``versioned`` types are stored, the others are made of the tables.

    ``back`` holds type and parameter of what may be included because it points here. ``profiles``
    are claimed as supported: names below our canonical base, or absolute URLs. ``is_record`` tells
    whether what is about a patient is part of the patient's record.
    """

    type: str
    own: tuple[Parameter, ...]
    versioned: bool = True
    back: tuple[tuple[str, str], ...] = (PROVENANCE,)
    writes: tuple[str, ...] = ()
    conditional_create: bool = False
    conditional_update: bool = False
    profiles: tuple[str, ...] = ()
    is_record: bool = True

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """Every search parameter of the type."""
        return (*(ALWAYS if self.versioned else (ID,)), *self.own)

    @property
    def interactions(self) -> tuple[str, ...]:
        """The R4 restful-interaction codes that are served."""
        stored = ("vread", "history-instance", "history-type") if self.versioned else ()
        return ("read", *stored, "search-type", *self.writes)

    def parameter(self, name: str) -> Parameter | None:
        """Return the search parameter of this name or ``None``."""
        return next((one for one in self.parameters if one.name == name), None)

    @property
    def includes(self) -> tuple[str, ...]:
        """What ``_include`` takes: the references whose elements the rows name."""
        if not self.versioned:
            return ()
        return tuple(
            f"{self.type}:{one.name}"
            for one in self.own
            if one.type == "reference" and one.path and set(one.targets) & SERVED.keys()
        )

    @property
    def revincludes(self) -> tuple[str, ...]:
        """What ``_revinclude`` takes."""
        return tuple(f"{kind}:{name}" for kind, name in self.back)


def _defined(kind: str, *parameters: Parameter) -> Served:
    return Served(kind, parameters, versioned=False, back=())


def _profiles(*kinds: str) -> tuple[str, ...]:
    return tuple(f"StructureDefinition/arm-exam-{kind}" for kind in kinds)


_MEMBERS = (
    PROVENANCE,
    ("Observation", "has-member"),
    ("Observation", "derived-from"),
    ("DiagnosticReport", "result"),
)
SERVED: Mapping[str, Served] = {
    one.type: one
    for one in (
        Served(
            "Observation",
            by.OBSERVATION,
            back=_MEMBERS,
            profiles=_profiles("motion", "sign", "strength", "part", "derived", "panel"),
        ),
        Served("DiagnosticReport", by.REPORT, profiles=_profiles("report")),
        Served("Patient", by.PATIENT_ITSELF, profiles=_profiles("patient")),
        Served("Practitioner", by.PARTY, profiles=_profiles("practitioner")),
        Served("Organization", by.PARTY, profiles=_profiles("organization")),
        Served("Provenance", by.PROVENANCE, back=(), profiles=_profiles("provenance")),
        Served(
            "QuestionnaireResponse",
            by.FORM,
            back=(),
            writes=("create", "update"),
            conditional_create=True,
            conditional_update=True,
        ),
        _defined("Group", *by.GROUP),
        Served("AuditEvent", by.AUDIT_EVENT, back=(), is_record=False),
        _defined("Device", *by.DEVICE),
        _defined("CodeSystem", *by.DEFINITION),
        _defined("ValueSet", *by.DEFINITION),
        _defined("ConceptMap", *by.DEFINITION),
        _defined("StructureDefinition", *by.STRUCTURE),
        _defined("Questionnaire", *by.DEFINITION),
        _defined("SearchParameter", *by.SEARCH_PARAMETER),
        _defined("OperationDefinition", *by.OPERATION),
        _defined("NamingSystem", *by.NAMING),
    )
}
SYSTEM: tuple[str, ...] = ("transaction", "batch", "history-system")
Level = Literal["system", "type", "instance"]


class Operation(NamedTuple):
    """One operation: ``type`` is empty for one of the whole system.

    ``definition`` is the canonical URL of HL7's OperationDefinition; empty for an operation of our
    own, which ``words`` and ``parameters`` (name, use, R4 type, minimum, maximum, words) define.
    """

    name: str
    type: str
    levels: tuple[Level, ...]
    definition: str
    words: str
    writes: bool = False
    method: str = "GET"
    parameters: tuple[tuple[str, str, str, int, str, str], ...] = ()


_HL7 = "http://hl7.org/fhir/OperationDefinition"
# what $validate judges: everything that an exam is made of or comes in as
VALIDATED = (
    "Observation",
    "DiagnosticReport",
    "Patient",
    "Practitioner",
    "Organization",
    "Provenance",
    "Bundle",
    "Composition",
    "QuestionnaireResponse",
)
_TYPE: tuple[Level, ...] = ("type",)
_BOTH: tuple[Level, ...] = ("type", "instance")
CHECKS: tuple[Operation, ...] = (
    *(
        Operation(
            "validate",
            kind,
            _TYPE,
            f"{_HL7}/Resource-validate",
            "Says what there is to say of a resource, by R4, by the profiles and by the rules of "
            "this service, and stores nothing; takes profile and mode.",
            method="POST",
        )
        for kind in VALIDATED
    ),
    Operation(
        "lookup",
        "CodeSystem",
        _TYPE,
        f"{_HL7}/CodeSystem-lookup",
        "What is known of a code of ours: code with system, or coding; version.",
    ),
    Operation(
        "validate-code",
        "CodeSystem",
        _BOTH,
        f"{_HL7}/CodeSystem-validate-code",
        "Whether a code is in a code system of ours, and has this display.",
    ),
    Operation(
        "validate-code",
        "ValueSet",
        _BOTH,
        f"{_HL7}/ValueSet-validate-code",
        "Whether a code is in a value set of ours, and has this display.",
    ),
    Operation(
        "expand",
        "ValueSet",
        _BOTH,
        f"{_HL7}/ValueSet-expand",
        "The codes of a value set of ours, with filter, offset and count.",
    ),
    Operation(
        "translate",
        "ConceptMap",
        _BOTH,
        f"{_HL7}/ConceptMap-translate",
        "What a concept of ours is called elsewhere, and back with reverse. A code that holds for "
        "one side only is given when a dependency names the side.",
    ),
)
_BULK = "http://hl7.org/fhir/uv/bulkdata/OperationDefinition"
OPERATIONS: tuple[Operation, ...] = (
    *CHECKS,
    Operation(
        "everything",
        "Patient",
        ("instance",),
        f"{_HL7}/Patient-everything",
        "Everything stored about a patient, with _since, _type, _count and pages.",
    ),
    Operation(
        "lastn",
        "Observation",
        ("type",),
        f"{_HL7}/Observation-lastn",
        "The latest findings of a patient for each code; max says how many of each.",
    ),
    Operation(
        "extract",
        "QuestionnaireResponse",
        ("type",),
        "http://hl7.org/fhir/uv/sdc/OperationDefinition/QuestionnaireResponse-extract",
        "The transaction that a filled-in form would become; nothing is stored.",
        method="POST",
    ),
    Operation(
        "document",
        "Composition",
        ("instance",),
        f"{_HL7}/Composition-document",
        "The exam as a document bundle, by the id of its Composition, which is that of the exam.",
    ),
    Operation(
        "document",
        "DiagnosticReport",
        ("instance",),
        "",
        "The exam that a report is about as a document bundle: its newest version.",
        parameters=(("return", "out", "Bundle", 1, "1", "A bundle of type document."),),
    ),
    Operation(
        "export",
        "",
        ("system",),
        f"{_BULK}/export",
        "Files of everything that is stored (Bulk Data Access 2.0).",
    ),
    Operation(
        "export",
        "Patient",
        ("type",),
        f"{_BULK}/patient-export",
        "Files of the records of all patients, or by POST of some.",
    ),
    Operation(
        "export",
        "Group",
        ("instance",),
        f"{_BULK}/group-export",
        "Files of the records of the patients of a group: whoever was examined at an organization.",
    ),
)
# when these tables last changed; the statement is the same, byte for byte, until they do
CHANGED = "2026-11-25"
