"""What an export is to hold, as plain values that can be kept with its job."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

import orjson

# every type that is stored, in the order of the files: whom it is about first
TYPES = (
    "Patient",
    "Practitioner",
    "Organization",
    "DiagnosticReport",
    "Observation",
    "QuestionnaireResponse",
    "Provenance",
)
# types that say which patient they are about, by the search parameter ``patient``
ABOUT_PATIENTS = frozenset(
    {"DiagnosticReport", "Observation", "QuestionnaireResponse", "Provenance"}
)
PROVENANCE = "Provenance"


class Level(StrEnum):
    """Whose resources an export holds: everybody's, all patients', or those of a group."""

    SYSTEM = "system"
    PATIENT = "patient"
    GROUP = "group"


class Associated(StrEnum):
    """Which Provenance comes along with types that were asked for without it."""

    NONE = ""
    LATEST = "LatestProvenanceResources"
    RELEVANT = "RelevantProvenanceResources"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What an export is to hold.

    ``types`` are in the order of :data:`TYPES`. ``patients`` and ``group`` limit it to the records
    of these ids. ``since`` is a FHIR instant in UTC with milliseconds: stored then or later.
    ``filters`` hold searches as ``Type?query``, of which one has to find a resource of the type.
    ``elements`` name members to keep, for one type as ``Type.member``. ``outcomes`` are
    OperationOutcomes as JSON text about what was asked for and ignored. ``organization`` is the id
    of the Organization that the client belongs to, empty for one that sees everything.
    """

    types: tuple[str, ...] = TYPES
    level: Level = Level.SYSTEM
    group: str = ""
    patients: tuple[str, ...] = ()
    since: str = ""
    filters: tuple[str, ...] = ()
    elements: tuple[str, ...] = ()
    associated: Associated = Associated.NONE
    outcomes: tuple[str, ...] = ()
    organization: str = ""

    @property
    def limited(self) -> bool:
        """Whether only the records of some patients are wanted."""
        return bool(self.patients or self.group)

    def text(self) -> bytes:
        """Return it as JSON text."""
        return orjson.dumps(asdict(self))

    @classmethod
    def read(cls, text: bytes) -> Wanted:
        """Return what :meth:`text` was made of."""
        found: dict[str, Any] = orjson.loads(text)
        values: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in found.items()
        }
        values["level"] = Level(values["level"])
        values["associated"] = Associated(values["associated"])
        return cls(**values)

    def elements_of(self, kind: str) -> tuple[str, ...]:
        """Return the members to keep of a type; none: all of them."""
        split = (one.rpartition(".") for one in self.elements)
        return tuple(dict.fromkeys(name for of, _, name in split if of in ("", kind)))

    def filters_of(self, kind: str) -> tuple[str, ...]:
        """Return the queries of a type; none: no filter."""
        pairs = (one.partition("?") for one in self.filters)
        return tuple(query for of, _, query in pairs if of == kind)
