"""What $validate answers: R4, our profiles, and for an exam our own rules, in one go (WRT-13)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeAlias

from brachium.coding.fhir import OwnUrls
from brachium.coding.shape import objections
from brachium.formats import incoming
from brachium.profiles import remarks
from brachium.profiles.artifacts import profiles
from brachium.profiles.base import HL7, base
from brachium.profiles.exam_rows import BUNDLES, PARTIES
from brachium.profiles.finding_rows import KINDS, profile_name
from brachium.profiles.nodes import Node, tree
from brachium.profiles.own_rules import OwnRules
from brachium.profiles.remarks import Enough, Remarks
from brachium.profiles.snapshot import snapshot
from brachium.profiles.structure import address
from brachium.profiles.value_sets import members
from brachium.profiles.walk import Known, Place, Walk

if TYPE_CHECKING:
    from brachium.exam.rule import ModelOptions
    from brachium.problems import Problem
    from brachium.tables.load import Tables

Json: TypeAlias = Any

_WHOLE = {
    "DiagnosticReport": "arm-exam-report",
    "Composition": "arm-exam-composition",
    "Provenance": "arm-exam-provenance",
    **{name: f"arm-exam-{name.lower()}" for name in PARTIES},
}
# judged by R4 and the service's own rules: the Questionnaire says what it has to hold
_FREE = frozenset({"QuestionnaireResponse"})


@dataclass(frozen=True)
class Judging:
    """Judges resources by everything that is known here; made once."""

    tables: Tables
    canonical: str
    model: ModelOptions

    def judge(self, resource: Json, profile: str = "") -> tuple[Problem, ...]:
        """Return every problem of a resource, numbers parsed as ``Decimal``.

        ``profile`` is the canonical URL of R4 itself, of a profile of ours, or empty for R4 and
        whatever of ours fits. Never raises for what a client can send.
        """
        found = Remarks()
        name = type_of(resource)
        place = Place(name if name in base().types else "Resource", resource, resource)
        wanted = profile.split("|")[0]
        own = not wanted.startswith(HL7) and self._is_exam(resource)
        try:
            inside = (self._nested, _refused) if own else (_any, _passed)
            node = self._tree(resource, wanted, place, found)
            known = Known(self._values, self._extensions, *inside)
            Walk(known, found).resource(resource, place, node, alone=True)
            if found.spotless:
                _second_opinion(resource, name, found)
            if own:
                self._own.judge(resource, found)
        except (Enough, RecursionError):
            found.cut()
        return _told(found.end())

    @cached_property
    def _own(self) -> OwnRules:
        return OwnRules(self.tables, self.canonical, self.model)

    @cached_property
    def _values(self) -> Mapping[str, Mapping[str, frozenset[str]]]:
        return members(self.tables, self.canonical)

    @cached_property
    def _trees(self) -> Mapping[str, Node]:
        """The trees of our profiles, by canonical URL."""
        return {
            address(self.canonical, one.name): tree(snapshot(one, base()))
            for one in profiles(self.canonical)
        }

    @cached_property
    def _extensions(self) -> Mapping[str, Node]:
        return {url: one for url, one in self._trees.items() if one.element.path == "Extension"}

    @cached_property
    def _kinds(self) -> Mapping[str, str]:
        """The profile of each concept that an Observation can be about."""
        kinds = {concept: one.name for one in KINDS for concept in one.concepts}
        return {
            code: profile_name(kinds[row.kind])
            for code, row in self.tables.concepts.items()
            if row.kind in kinds
        }

    def _is_exam(self, resource: Json) -> bool:
        """Tell whether a resource is ours by the look of it: a Bundle needs a report of ours."""
        if type_of(resource) != "Bundle":
            return True
        entries = resource.get("entry")
        listed = entries if isinstance(entries, list) else []
        inner = (one.get("resource") for one in listed if isinstance(one, dict))
        return any(
            type_of(one) == "DiagnosticReport" and self._own_code(one) in self._reports
            for one in inner
        )

    @cached_property
    def _reports(self) -> frozenset[str]:
        url = f"{self.canonical}/ValueSet/{_WHOLE['DiagnosticReport']}"
        return self._values[url][OwnUrls(self.canonical).concepts]

    def _tree(self, resource: Json, profile: str, place: Place, found: Remarks) -> Node | None:
        """Return the tree that was asked for, or else the one that fits."""
        if not profile:
            return self._nested(resource, place, found)
        known = self._trees.get(profile)
        name = profile.removeprefix(HL7) if profile.startswith(HL7) else ""
        about = known.element.path if known else name
        if known is None and name not in base().types:
            found.say(remarks.PROFILE, place.path, remarks.PROFILE.title, "not-supported")
        elif about not in (place.path, "Resource", "DomainResource"):
            text = "The profile is about another type of resource."
            found.say(remarks.PROFILE, place.path, text, "invalid")
            return None
        return known

    def _nested(self, resource: Json, place: Place, found: Remarks) -> Node | None:
        """Return the tree of our profile that fits; says when there is none."""
        name = type_of(resource)
        wanted = self._named(resource, name)
        if wanted:
            return self._trees[address(self.canonical, wanted)]
        if name in base().types and name not in _FREE:
            text = _FOREIGN.get(name, "This service makes and takes no such resource.")
            found.say(remarks.NOT_OURS, place.path, text, "business-rule")
        return None

    def _named(self, resource: Json, name: str) -> str:
        if name == "Observation":
            return self._kinds.get(self._own_code(resource), "")
        if name == "Bundle":
            kind = resource.get("type") if self._is_exam(resource) else ""
            return f"arm-exam-{kind}" if kind in BUNDLES else ""
        return _WHOLE.get(name, "")

    def _own_code(self, resource: Json) -> str:
        concept = resource.get("code")
        codings = concept.get("coding") if isinstance(concept, dict) else None
        for one in codings if isinstance(codings, list) else ():
            if isinstance(one, dict) and one.get("system") == OwnUrls(self.canonical).concepts:
                return str(one.get("code"))
        return ""


_FOREIGN = {
    "Observation": "This Observation has no code of an arm examination, in this service's code "
    "system, that a finding, a computed value or a panel can have.",
    "Bundle": "A Bundle of an exam is a collection, a transaction or a document with a report of "
    "an arm examination; this one is judged by R4 alone.",
}


def type_of(resource: Json) -> str:
    """Return the type a resource says it has, empty when it says none."""
    name = resource.get("resourceType") if isinstance(resource, dict) else None
    return name if isinstance(name, str) else ""


def _any(_resource: Json, _place: Place, _found: Remarks) -> None:
    """Judge what is inside by R4 alone."""


def _refused(_resource: Json, place: Place, found: Remarks) -> None:
    """Say that a resource is of a type that no exam holds."""
    text = "A resource of this type is not taken here, and nothing in it was looked at."
    found.say(remarks.NOT_OURS, place.path, text, "not-supported")


def _passed(resource: Json, place: Place, found: Remarks) -> None:
    """Note a resource whose type has no definition here; one without a type is an error."""
    if "." in place.path and type_of(resource):
        found.pass_over(place.path)
    else:
        _refused(resource, place, found)


def _told(problems: tuple[Problem, ...]) -> tuple[Problem, ...]:
    """Say of what is only foreign that R4 has nothing against it."""
    if len(problems) != 1 or problems[0].code != remarks.NOT_OURS.code or "." in problems[0].place:
        return problems
    (only,) = problems
    if only.issue_type != "business-rule":
        return problems
    return (replace(only, message=f"{only.message} By FHIR R4 alone it is valid."),)


def _second_opinion(resource: Json, name: str, found: Remarks) -> None:
    """Ask the models too: they were made by others, from the same definitions."""
    for path in objections(name, incoming.write(resource)):
        text = "The FHIR models refuse this value."
        found.say(remarks.VALUE, path, text, "value")
