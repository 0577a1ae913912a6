"""What one receiver wants otherwise: applied to stored rows on their way out, on request only.

The stored text says the side in every place, cites every system and calls an aborted test
cancelled. A receiver that cannot take that gets less of it (OBS-05, OBS-12, TRM-05); nothing is
recoded and no number is touched.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from brachium.formats import lossless
from brachium.formats.lossless import Json
from brachium.formats.outgoing import SHARED_TYPES
from brachium.records import ExamVersion, StoredResource

SNOMED = "http://snomed.info/sct"
STATUS_REASON = "http://hl7.org/fhir/StructureDefinition/event-statusReason"
CodeKey = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Sided:
    """Which codes (system URI, code) carry a side, from the tables.

    ``codes`` may stand in Observation.code; ``sites`` maps a side-specific body structure to the
    coding of the same structure without side, or to nothing when there is none; ``own`` gives our
    own coding for a standard code that can stand alone, for when its system is switched off.
    """

    codes: frozenset[CodeKey] = frozenset()
    sites: Mapping[CodeKey, dict[str, str] | None] = field(default_factory=dict)
    own: Mapping[CodeKey, dict[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OutputPolicy:
    """How an exam leaves for one receiver; the default is what is stored."""

    side: Literal["both", "site", "code"] = "both"
    snomed: bool = True
    not_tested: Literal["cancelled", "final"] = "cancelled"

    @property
    def variant(self) -> str:
        """A name for this policy; empty for the default."""
        if self == OutputPolicy():
            return ""
        return (
            f"side={self.side},snomed={'on' if self.snomed else 'off'},not-tested={self.not_tested}"
        )


def applied(
    policy: OutputPolicy, exam: ExamVersion, rows: tuple[StoredResource, ...], sided: Sided
) -> tuple[StoredResource, ...]:
    """Return the rows as the policy wants them; rows that it does not touch keep their bytes."""
    if policy == OutputPolicy():
        return rows
    return tuple(_applied(policy, exam, row, sided) for row in rows)


def _applied(
    policy: OutputPolicy, exam: ExamVersion, row: StoredResource, sided: Sided
) -> StoredResource:
    if row.type in SHARED_TYPES:
        return row
    resource = lossless.parse(row.text)
    before = lossless.write(resource)
    if policy.side == "site":
        _drop_sided_codes(resource, sided)
    if policy.side == "code":
        _drop_sided_sites(resource, sided)
    if not policy.snomed:
        _drop_system(resource, SNOMED, sided)
    if policy.not_tested == "final":
        _not_tested_as_final(resource, exam)
    after = lossless.write(resource)
    return row if after == before else row._replace(text=after)


def _key(coding: Json) -> CodeKey:
    return coding.get("system", ""), coding.get("code", "")


def _drop_sided_codes(resource: Json, sided: Sided) -> None:
    code = resource.get("code", {})
    if "coding" in code:
        code["coding"] = [c for c in code["coding"] if _key(c) not in sided.codes]


def _drop_sided_sites(resource: Json, sided: Sided) -> None:
    site = resource.get("bodySite", {})
    kept = [_without_side(coding, sided) for coding in site.get("coding", ())]
    codings = [coding for coding in kept if coding is not None]
    distinct = [c for place, c in enumerate(codings) if c not in codings[:place]]
    if distinct:
        site["coding"] = distinct
    elif "coding" in site:
        del site["coding"]


def _without_side(coding: Json, sided: Sided) -> Json | None:
    return sided.sites.get(_key(coding), coding)


def _drop_system(value: Json, system: str, sided: Sided) -> None:
    """Take every coding of ``system`` out; where none is left, our own coding stands in."""
    if isinstance(value, list):
        for item in value:
            _drop_system(item, system, sided)
    elif isinstance(value, dict):
        if isinstance(value.get("coding"), list):
            _strip(value, system, sided)
        for item in value.values():
            _drop_system(item, system, sided)


def _strip(concept: Json, system: str, sided: Sided) -> None:
    gone = [coding for coding in concept["coding"] if coding.get("system") == system]
    kept = [coding for coding in concept["coding"] if coding.get("system") != system]
    if not gone:
        return
    # KeyError for a code that nothing of ours stands for: better no bundle than a finding that lost
    # its meaning
    concept["coding"] = kept or [sided.own[_key(gone[0])]]


def _not_tested_as_final(resource: Json, exam: ExamVersion) -> None:
    """Say final (or preliminary) with a reason for absence, for receivers that drop cancelled."""
    if resource["resourceType"] != "Observation" or resource["status"] != "cancelled":
        return
    resource["status"] = "preliminary" if exam.status.value == "preliminary" else "final"
    # event-statusReason explains a status; the reason itself is in dataAbsentReason as well
    extensions = [e for e in resource.get("extension", ()) if e["url"] != STATUS_REASON]
    if extensions:
        resource["extension"] = extensions
    else:
        resource.pop("extension", None)
