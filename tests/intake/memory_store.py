"""A store in memory for the tests of intake and export: strict, and without a file.

It holds what any store has to hold: versions never change, a version number is written once, and
shared resources get a new version only when their body changed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from brachium.records import ExamVersion, Resource, StoredResource
from brachium.store.port import Added, Outcome


@dataclass
class Kept:
    """A stored resource version and the search values it came with."""

    resource: Resource
    row: StoredResource


class MemoryStore:
    """Implements what intake and export use of the store's protocol."""

    def __init__(self) -> None:
        self.exams: dict[str, list[ExamVersion]] = {}
        self.kept: dict[tuple[str, str], list[Kept]] = {}
        self.links: dict[tuple[str, int], list[StoredResource]] = {}

    def add(self, version: ExamVersion, expected: int | None, occasion: object = None) -> Added:  # noqa: ARG002
        held = self.exams.setdefault(version.id, [])
        if expected is None and held:
            same = version.digest in (held[0].digest, held[-1].digest)
            return Added(Outcome.SAME if same else Outcome.CONFLICT, held[-1])
        if expected is not None and (not held or held[-1].version != expected):
            return Added(Outcome.STALE, held[-1]) if held else Added(Outcome.MISSING, None)
        assert version.version == len(held) + 1
        rows = [self._put(one, version.recorded) for one in version.resources]
        keys = [(row.type, row.id) for row in rows]
        assert len(keys) == len(set(keys)), "a resource twice in one exam version"
        stored = replace(version, resources=())
        held.append(stored)
        self.links[version.id, version.version] = rows
        return Added(Outcome.CREATED, stored)

    def _put(self, resource: Resource, recorded: str) -> StoredResource:
        kept = self.kept.setdefault((resource.type, resource.id), [])
        if resource.version is None:
            if kept and kept[-1].resource.body == resource.body:
                return kept[-1].row
        elif resource.version <= len(kept):
            there = kept[resource.version - 1]
            assert there.resource.body == resource.body, "a stored version would change"
            return there.row
        number = len(kept) + 1
        assert resource.version in (None, number), "a version number is left out"
        text = resource.text(number, recorded)
        row = StoredResource(resource.type, resource.id, number, recorded, text)
        kept.append(Kept(resource, row))
        return row

    def exam(self, exam_id: str, version: int | None = None) -> ExamVersion | None:
        held = self.exams.get(exam_id, [])
        if version is None:
            return held[-1] if held else None
        return held[version - 1] if 0 < version <= len(held) else None

    def versions(self, exam_id: str) -> tuple[ExamVersion, ...]:
        return tuple(self.exams.get(exam_id, ()))

    def resources(self, exam_id: str, version: int | None = None) -> tuple[StoredResource, ...]:
        number = version or len(self.exams.get(exam_id, ()))
        return tuple(self.links.get((exam_id, number), ()))
