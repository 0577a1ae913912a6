"""Stored exam versions out: as bundles, as our own JSON, as a table of their codings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

import orjson

from brachium.assess.narrative_forms import plain_text
from brachium.assess.narrative_reading import account_of
from brachium.assess.options import AssessOptions
from brachium.coding.document import composition
from brachium.coding.fhir import SNOMED, UCUM, OwnUrls
from brachium.coding.identity import Ids
from brachium.export.explanation import explanation
from brachium.formats.codings import CodingRow, Place, places
from brachium.formats.outgoing import Outgoing, References
from brachium.formats.policy import CodeKey, OutputPolicy, Sided, applied
from brachium.formats.register import BUNDLES

if TYPE_CHECKING:
    from brachium.records import ExamVersion, StoredResource
    from brachium.store.port import Store
    from brachium.tables.load import Tables


@dataclass(frozen=True, slots=True)
class Wanted:
    """How one receiver wants a bundle: what is in it, and how it points at the shared resources."""

    policy: OutputPolicy = field(default_factory=OutputPolicy)
    references: References = References.ENTRY


class Told(Protocol):
    """An answer of the intake that may hold resources already."""

    @property
    def resources(self) -> tuple[StoredResource, ...]:
        """The resources in hand, or none."""


@dataclass(frozen=True)
class Framer:
    """Frames rows in hand; nothing is coded again on the way out.

    ``base`` is the public address of the service, ``canonical`` that of our code systems, both
    without a slash at the end; ``judging`` is how exams are judged here.
    """

    tables: Tables
    base: str
    canonical: str
    judging: AssessOptions = field(default_factory=AssessOptions, kw_only=True)

    def framed(
        self,
        exam: ExamVersion,
        rows: tuple[StoredResource, ...],
        kind: str = "collection",
        wanted: Wanted | None = None,
    ) -> bytes:
        """Return the bundle of rows in hand, stored or only previewed (EXM-07)."""
        wish = wanted or Wanted()
        shape = BUNDLES[kind]
        leaving = applied(wish.policy, exam, rows, self._sided)
        cover = composition(exam, leaving) if shape.needs_composition else None
        outgoing = Outgoing(
            exam, leaving, f"{self.base}/fhir", wish.policy.variant, wish.references, cover
        )
        return shape.write(outgoing)

    def coded(self, rows: Iterable[StoredResource], edition: str) -> tuple[CodingRow, ...]:
        """Return every coding of rows in hand with its place and source (TRM-06)."""
        found = (place for row in rows for place in places(row))
        return tuple(self._coding_row(place, edition) for place in found)

    def explained(
        self, exam: ExamVersion, rows: Iterable[StoredResource], key: str
    ) -> bytes | None:
        """Return the whole chain behind one finding as JSON; ``None`` when there is none."""
        codings = self.coded(rows, exam.edition)
        return explanation(exam, key, codings, self.tables, self.judging)

    def _coding_row(self, place: Place, edition: str) -> CodingRow:
        verified, source = self._known.get((place.system, place.code), ("", ""))
        return CodingRow(
            place.resource,
            place.path,
            place.system,
            place.code,
            place.display,
            verified,
            edition,
            source,
        )

    @cached_property
    def _known(self) -> Mapping[CodeKey, tuple[str, str]]:
        return known_codes(self.tables, self.canonical)

    @cached_property
    def _sided(self) -> Sided:
        return sided_codes(self.tables, self.canonical)


@dataclass(frozen=True)
class Export(Framer):
    """Reads what is stored and frames it.

    Methods return ``None`` for an exam or version that is not stored.
    """

    store: Store

    def exam_json(self, stored: ExamVersion) -> bytes:
        """Return one exam version as JSON: content, problems, status and links."""
        return orjson.dumps(
            {
                "id": stored.id,
                "version": stored.version,
                "status": stored.status.value,
                "recorded": stored.recorded,
                "reason": stored.reason,
                "digest": stored.digest,
                "edition": stored.edition,
                "exam": orjson.Fragment(stored.content),
                "problems": orjson.Fragment(stored.problems),
                "assessment": orjson.Fragment(stored.assessment),
                "links": self._links(stored),
            }
        )

    def fresh(self, exam: ExamVersion, receipt: Told) -> bytes:
        """Return the collection bundle of the exam that a receipt is about."""
        rows = receipt.resources or self.store.resources(exam.id, exam.version)
        return self.framed(exam, rows)

    def bundle(
        self, exam_id: str, kind: str, version: int | None = None, wanted: Wanted | None = None
    ) -> bytes | None:
        """Return a bundle of an exam version; ``kind`` is a name in the register (else KeyError).

        The same version, kind and wish give the same bytes at any time (BND-05).
        """
        stored = self.store.exam(exam_id, version)
        if stored is None:
            return None
        rows = self.store.resources(exam_id, stored.version)
        return self.framed(stored, rows, kind, wanted)

    def codings(self, exam_id: str, version: int | None = None) -> tuple[CodingRow, ...] | None:
        """Return every coding of an exam version with its place and source (TRM-06)."""
        stored = self.store.exam(exam_id, version)
        if stored is None:
            return None
        rows = self.store.resources(exam_id, stored.version)
        return self.coded(rows, stored.edition)

    def account(self, exam_id: str, version: int | None = None) -> bytes | None:
        """Return the account of an exam version as plain text: what its stored report says."""
        stored = self.store.exam(exam_id, version)
        if stored is None:
            return None
        rows = self.store.resources(exam_id, stored.version)
        report = next(row for row in rows if row.type == "DiagnosticReport")
        return plain_text(account_of(orjson.loads(report.text)["text"]["div"])).encode()

    def explanation(self, exam_id: str, key: str, version: int | None = None) -> bytes | None:
        """Return the whole chain behind one finding of an exam version as JSON."""
        stored = self.store.exam(exam_id, version)
        if stored is None:
            return None
        return self.explained(stored, self.store.resources(exam_id, stored.version), key)

    def _links(self, stored: ExamVersion) -> dict[str, str]:
        own = f"{self.base}/exams/{stored.id}"
        pinned = f"version={stored.version}"
        report = Ids(stored.id).of("DiagnosticReport")
        return {
            "self": f"{own}?{pinned}",
            "report": f"{self.base}/fhir/DiagnosticReport/{report}",
            **{kind: f"{own}/bundle?type={kind}&{pinned}" for kind in BUNDLES},
            "codings": f"{own}/codings?{pinned}",
            "assessment": f"{own}/assessment?{pinned}",
            "note": f"{own}/note?{pinned}",
        }


def known_codes(tables: Tables, canonical: str) -> dict[CodeKey, tuple[str, str]]:
    """Return, by system URI and code, whether it is verified (yes, no) and its source."""
    urls = OwnUrls(canonical)
    known = {(urls.concepts, code): ("yes", "own code system") for code in tables.concepts}
    for scale, grades in tables.scales.items():
        known |= {(urls.scale(scale), code): ("yes", row.source) for code, row in grades.items()}
    known |= {(UCUM, row.ucum): ("yes", row.source) for row in tables.units.values()}
    for row in tables.codes.values():
        verified = "yes" if row.verified else "no"
        known[tables.systems[row.system].uri, row.code] = (verified, row.source)
    return known


def sided_codes(tables: Tables, canonical: str) -> Sided:
    """Return which codes carry a side, and what our own codes for standard ones are."""
    codes: set[CodeKey] = set()
    own: dict[CodeKey, dict[str, str]] = {}
    concepts = OwnUrls(canonical).concepts
    for concept, maps in tables.maps.items():
        for row in maps:
            key = (tables.systems[row.system].uri, row.code)
            if row.side:
                codes.add(key)
            display = tables.concepts[concept].display
            own.setdefault(key, {"system": concepts, "code": concept, "display": display})
    return Sided(frozenset(codes), _sided_sites(tables), own)


def _sided_sites(tables: Tables) -> dict[CodeKey, dict[str, str] | None]:
    displays = {
        row.code: row.display
        for row in tables.codes.values()
        if tables.systems[row.system].uri == SNOMED
    }
    sites: dict[CodeKey, dict[str, str] | None] = {}
    for structure in tables.structures.values():
        plain = structure.snomed
        coding = {"system": SNOMED, "code": plain, "display": displays[plain]} if plain else None
        for code in (structure.snomed_left, structure.snomed_right):
            if code:
                sites[SNOMED, code] = coding
    return sites
