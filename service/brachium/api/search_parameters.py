"""Every search parameter as one row: adding one means adding its row to a type below.

What a row says is what is searched, what may be included, what the CapabilityStatement claims and,
for our own parameters, what the SearchParameter resource publishes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from brachium.coding.fhir import LATERALITY

Kind = Literal["token", "reference", "date", "quantity", "uri", "string"]


class Parameter(NamedTuple):
    """One search parameter.

    ``path`` names the elements it looks at, below the resource (``|`` between several): included
    references and the values of definitions are read there. ``stored`` names the rows of the search
    index when they are not called as the parameter is; any of them may match. ``targets`` are the
    types a reference leads to. ``system`` is that of an element of type code, which names none.
    ``expression`` is FHIRPath and given for our own parameters alone. ``chains`` are the parameters
    of the targets that may stand behind a dot.
    """

    name: str
    type: Kind
    words: str
    path: str = ""
    stored: tuple[str, ...] = ()
    targets: tuple[str, ...] = ()
    modifiers: tuple[str, ...] = ("missing",)
    sortable: bool = False
    system: str = ""
    expression: str = ""
    chains: tuple[str, ...] = ()

    @property
    def rows(self) -> tuple[str, ...]:
        """The names in the search index."""
        return self.stored or (self.name,)


def token(
    name: str,
    words: str,
    path: str = "",
    *,
    stored: tuple[str, ...] = (),
    system: str = "",
    expression: str = "",
) -> Parameter:
    """Return a token parameter: it takes :not besides :missing."""
    modifiers = ("missing", "not")
    return Parameter(
        name,
        "token",
        words,
        path,
        stored,
        modifiers=modifiers,
        system=system,
        expression=expression,
    )


def reference(
    name: str, words: str, path: str, *targets: str, chains: tuple[str, ...] = ()
) -> Parameter:
    """Return a reference parameter with the types it leads to and what may be asked of them."""
    return Parameter(name, "reference", words, path, targets=targets, chains=chains)


ID = Parameter("_id", "token", "The logical id.", modifiers=(), sortable=True)
UPDATED = Parameter(
    "_lastUpdated", "date", "When the version was stored.", modifiers=(), sortable=True
)
PROFILE = Parameter("_profile", "uri", "A profile the resource claims, in meta.profile.")
TAG = Parameter("_tag", "token", "A tag in meta.tag; nothing is stored with one.", modifiers=())
IDENTIFIER = token("identifier", "A business identifier.")
_BY = ("identifier",)
PATIENT = reference("patient", "The patient.", "subject", "Patient", chains=_BY)
SUBJECT = reference("subject", "Who it is about: a patient.", "subject", "Patient", chains=_BY)
_PERFORMERS = ("Practitioner", "Organization")
PERFORMER = reference("performer", "Who did it, and where.", "performer", *_PERFORMERS, chains=_BY)
# an encounter is known by its identifier alone
ENCOUNTER = Parameter(
    "encounter",
    "reference",
    "The encounter, which is known by its identifier: encounter:identifier=system|value.",
    "encounter",
    targets=("Encounter",),
    modifiers=("identifier",),
)
DATE = Parameter("date", "date", "When it was examined.", "effectiveDateTime", sortable=True)
STATUS = token("status", "The status; what was entered in error is found unless it is left out.")
CODE = token("code", "What was examined: LOINC, SNOMED CT or our own code.")
CATEGORY = token("category", "The category of the finding or report.")
_STORED = ("_lastUpdated",)
ALWAYS = (ID, UPDATED, PROFILE, TAG)
_WHAT = ("code", "component-code")

OBSERVATION = (
    IDENTIFIER,
    PATIENT,
    SUBJECT,
    CODE,
    CATEGORY,
    STATUS,
    DATE,
    PERFORMER,
    ENCOUNTER,
    token("method", "How it was measured."),
    token("data-absent-reason", "Why there is no value."),
    token("value-concept", "The value where it is a code, such as a grade."),
    Parameter("value-quantity", "quantity", "The value where it is measured."),
    token("component-code", "What a component is about."),
    Parameter("component-value-quantity", "quantity", "The measured value of a component."),
    token("combo-code", "What the finding or one of its components is about.", stored=_WHAT),
    Parameter(
        "combo-value-quantity",
        "quantity",
        "A measured value, of the finding or a component.",
        stored=("value-quantity", "component-value-quantity"),
    ),
    reference("derived-from", "What it was worked out of.", "derivedFrom", "Observation"),
    reference("has-member", "What a panel holds.", "hasMember", "Observation"),
    token(
        "-body-site",
        "Where on the body: SNOMED CT or our own code.",
        expression="Observation.bodySite",
    ),
    token(
        "-laterality",
        "The side of the body, as a SNOMED CT or our own code.",
        expression=f"Observation.bodySite.extension.where(url = '{LATERALITY}').value",
    ),
)
REPORT = (
    IDENTIFIER,
    PATIENT,
    SUBJECT,
    CODE,
    CATEGORY,
    STATUS,
    DATE,
    # the store writes both, and they say when the version was stored
    Parameter("issued", "date", "When this version was stored.", stored=_STORED, sortable=True),
    PERFORMER,
    ENCOUNTER,
    reference("result", "The panels of the report.", "result", "Observation"),
)
_TARGETS = ("Observation", "DiagnosticReport", "Patient", "Practitioner", "Organization")
PROVENANCE = (
    reference("target", "What it is about.", "", *_TARGETS),
    reference("patient", "Whose record it is about.", "", "Patient"),
    reference("agent", "Who did it.", "agent.who", "Practitioner"),
    reference("entity", "What was revised.", "", "Observation", "DiagnosticReport"),
    Parameter("recorded", "date", "When the version was stored.", stored=_STORED, sortable=True),
)
# a form names people by identifier alone, so nothing can be included by it
FORM = (
    IDENTIFIER,
    PATIENT._replace(path=""),
    SUBJECT._replace(path=""),
    reference("author", "Who filled it in.", "", "Practitioner", chains=_BY),
    token("status", "The status of the answers."),
    Parameter("questionnaire", "uri", "The form that was filled in.", "questionnaire"),
    Parameter("authored", "date", "When this version was stored.", "authored", sortable=True),
)
PATIENT_ITSELF = (
    IDENTIFIER,
    Parameter("birthdate", "date", "The date of birth, as precise as it is known."),
    token("gender", "Administrative gender."),
)
PARTY = (IDENTIFIER,)

_PUBLICATION = "http://hl7.org/fhir/publication-status"
URL = Parameter("url", "uri", "The canonical URL.", "url")
VERSION = token("version", "The business version.", "version")
NAME = Parameter("name", "string", "The name for computers.", "name")
TITLE = Parameter("title", "string", "The title for people.", "title")
DEFINED = token("status", "The publication status.", "status", system=_PUBLICATION)
DEFINITION = (URL, VERSION, NAME, TITLE, DEFINED)
_TYPES = "http://hl7.org/fhir/resource-types"
SEARCH_PARAMETER = (
    URL,
    VERSION,
    NAME,
    DEFINED,
    token("code", "The name used in a search.", "code"),
    token("base", "The type that is searched.", "base", system=_TYPES),
    token("type", "The type of the parameter.", "type"),
)
OPERATION = (
    *DEFINITION,
    token("code", "The name used to invoke it.", "code"),
    token("kind", "Operation or query.", "kind"),
)
STRUCTURE = (
    *DEFINITION,
    Parameter("type", "uri", "The type that is profiled.", "type"),
    Parameter("base", "uri", "The definition it is derived from.", "baseDefinition"),
    token("kind", "The kind of structure.", "kind"),
)
NAMING = (
    NAME,
    DEFINED,
    token("kind", "What the names are for.", "kind"),
    Parameter("value", "string", "The name itself, a URI.", "uniqueId.value"),
)
DEVICE = (
    IDENTIFIER._replace(path="identifier"),
    Parameter("device-name", "string", "The name of the software.", "deviceName.name"),
    token("status", "Whether it is in use.", "status", system="http://hl7.org/fhir/device-status"),
)
GROUP = (
    IDENTIFIER._replace(path="identifier"),
    reference("managing-entity", "The organization.", "managingEntity", "Organization")._replace(
        path="managingEntity.reference"
    ),
)
_ABOUT = ("Patient", "Observation", "DiagnosticReport", "Provenance", "Practitioner")
AUDIT_EVENT = (
    Parameter("date", "date", "When it was done.", sortable=True),
    reference("patient", "Whose record it is about.", "", "Patient", chains=_BY),
    reference("entity", "What it is about.", "", *_ABOUT),
    # clients are known by the id they are registered with alone
    Parameter(
        "agent",
        "reference",
        "Who did it: agent:identifier=system|client.",
        "",
        targets=("Practitioner",),
        modifiers=("identifier",),
    ),
    token("type", "What kind of event it is."),
    token("subtype", "The interaction, or the kind of login."),
    token("action", "Create, read, update, delete or execute."),
    token("outcome", "Whether it succeeded."),
    Parameter("policy", "uri", "The jti of the access token."),
    Parameter("address", "uri", "The network address of whoever asked."),
)
OWN: Mapping[str, tuple[Parameter, ...]] = {
    "Observation": tuple(one for one in OBSERVATION if one.expression)
}
