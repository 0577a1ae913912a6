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
    are claimed as supported: names below our canonical base, or absolute URLs.
    """

    type: str
    own: tuple[Parameter, ...]
    versioned: bool = True
    back: tuple[tuple[str, str], ...] = (PROVENANCE,)
    writes: tuple[str, ...] = ()
    conditional_create: bool = False
    conditional_update: bool = False
    profiles: tuple[str, ...] = ()

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


_MEMBERS = (
    PROVENANCE,
    ("Observation", "has-member"),
    ("Observation", "derived-from"),
    ("DiagnosticReport", "result"),
)
SERVED: Mapping[str, Served] = {
    one.type: one
    for one in (
        Served("Observation", by.OBSERVATION, back=_MEMBERS),
        Served("DiagnosticReport", by.REPORT),
        Served("Patient", by.PATIENT_ITSELF),
        Served("Practitioner", by.PARTY),
        Served("Organization", by.PARTY),
        Served("Provenance", by.PROVENANCE, back=()),
        Served(
            "QuestionnaireResponse",
            by.FORM,
            back=(),
            writes=("create", "update"),
            conditional_create=True,
            conditional_update=True,
        ),
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
OPERATIONS: tuple[Operation, ...] = (
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
)
# what the record of a patient is called in a search within it (FHIR R4 compartments)
COMPARTMENT = "Patient"
# when these tables last changed; the statement is the same, byte for byte, until they do
CHANGED = "2026-11-25"
