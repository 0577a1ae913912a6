"""The tables as CodeSystem, ValueSet and ConceptMap (matrix TRM-01), built once at start-up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from brachium.api.answers import PROBLEM_SYSTEM

if TYPE_CHECKING:
    from brachium.api.definitions import Material
    from brachium.problems import Listed
    from brachium.tables.gather import Tables
    from brachium.tables.rows import Grade, Map

ORDINAL = "http://hl7.org/fhir/StructureDefinition/ordinalValue"
SNOMED = "http://snomed.info/sct"


def resources(material: Material) -> Iterator[Mapping[str, Any]]:
    """Yield every resource; where the site sends no SNOMED CT, no content of it (TRM-05)."""
    writer = _Writer(material.tables, material.canonical)
    return writer.resources(material.rules, snomed=material.settings.snomed)


class _Writer:
    def __init__(self, tables: Tables, canonical: str) -> None:
        self._tables = tables
        self._canonical = canonical

    def resources(self, rules: tuple[Listed, ...], *, snomed: bool) -> Iterator[dict[str, Any]]:
        yield from self._system("arm-exam", "Arm exam concepts", self._own())
        for scale, grades in sorted(self._tables.scales.items()):
            yield from self._system(scale, f"Grades of {scale}", _grades(grades.values()))
        name = PROBLEM_SYSTEM.rpartition("/")[2]
        yield from self._system(name, "Problems named in answers", _problems(rules))
        for system in sorted({row.system for rows in self._tables.maps.values() for row in rows}):
            if snomed or self._tables.systems[system].uri != SNOMED:
                yield self._map(system)

    def _head(self, kind: str, identity: str, title: str) -> dict[str, Any]:
        return {
            "resourceType": kind,
            "id": identity,
            "url": f"{self._canonical}/{kind}/{identity}",
            "version": self._tables.edition,
            "name": "".join(part.capitalize() for part in identity.split("-")),
            "title": title,
            "status": "active",
            "experimental": False,
        }

    def _system(
        self, identity: str, title: str, concepts: list[dict[str, Any]]
    ) -> Iterator[dict[str, Any]]:
        values = f"{self._canonical}/ValueSet/{identity}"
        yield {
            **self._head("CodeSystem", identity, title),
            "caseSensitive": True,
            "valueSet": values,
            "content": "complete",
            "count": len(concepts),
            "concept": concepts,
        }
        include = [{"system": f"{self._canonical}/CodeSystem/{identity}"}]
        yield {
            **self._head("ValueSet", identity, f"All of: {title}"),
            "immutable": False,
            "compose": {"include": include},
        }

    def _own(self) -> list[dict[str, Any]]:
        rows = sorted(self._tables.concepts.values(), key=lambda row: row.code)
        return [_concept(row.code, row.display, row.definition) for row in rows]

    def _map(self, system: str) -> dict[str, Any]:
        target = self._tables.systems[system]
        elements = [
            {"code": concept, "display": self._display(concept), "target": found}
            for concept, rows in sorted(self._tables.maps.items())
            if (found := [self._target(row) for row in rows if row.system == system])
        ]
        group = {
            "source": f"{self._canonical}/CodeSystem/arm-exam",
            "sourceVersion": self._tables.edition,
            "target": target.uri,
            "targetVersion": target.release,
            "element": elements,
        }
        head = self._head("ConceptMap", f"arm-exam-to-{system}", f"Arm exam concepts to {system}")
        if not target.release:
            del group["targetVersion"]
        values = f"{self._canonical}/ValueSet/arm-exam"
        copyright_note = {"copyright": target.licence} if target.licence else {}
        return {**head, **copyright_note, "sourceCanonical": values, "group": [group]}

    def _display(self, concept: str) -> str:
        return self._tables.concepts[concept].display

    def _target(self, row: Map) -> dict[str, Any]:
        code = self._tables.codes[row.system, row.code]
        found: dict[str, Any] = {
            "code": code.code,
            "display": code.display,
            "equivalence": row.relationship,
        }
        remarks = [] if code.verified else ["Not yet verified against the release."]
        if row.when != "always":
            remarks.append(f"Only when {row.when}.")
        if remarks:
            found["comment"] = " ".join(remarks)
        if row.side:
            side = {"property": f"{self._canonical}/laterality", "value": row.side}
            found["dependsOn"] = [side]
        return {key: value for key, value in found.items() if value}


def _concept(code: str, display: str, definition: str) -> dict[str, Any]:
    found = {"code": code, "display": display}
    return {**found, "definition": definition} if definition else found


def _grades(grades: Iterable[Grade]) -> list[dict[str, Any]]:
    rows = sorted(grades, key=lambda row: row.order)
    return [
        {
            "extension": [{"url": ORDINAL, "valueDecimal": row.ordinal}],
            "code": row.grade,
            "display": row.label,
        }
        for row in rows
    ]


def _problems(rules: Iterable[Listed]) -> list[dict[str, Any]]:
    well = _concept("all-well", "Nothing to remark", "")
    return [
        well,
        *(_concept(row.code, row.title, f"{row.reason} {row.remedy}".strip()) for row in rules),
    ]
