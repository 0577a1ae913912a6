"""Random lives of a store, compared step by step with a model made of plain dicts."""

from __future__ import annotations

import json
import tempfile
from dataclasses import replace
from pathlib import Path
from unittest import mock

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from tests.store.exams import SYSTEM, at, first, following, marked, opened, wanted

from brachium.records import ExamVersion, Resource
from brachium.store import index

NAMES = st.sampled_from(["EX-1", "EX-2", "EX-3"])
PARTS = st.sampled_from(["a", "b", "c", "d"])
COLOURS = st.sampled_from(["red", "blue"])
PEOPLE = st.sampled_from(["p", "q"])
CONTENT = st.dictionaries(PARTS, COLOURS, max_size=4)


def part(exam, name, colour, version):
    body = marked(b"{}", [("colour", colour), ("part", name)])
    return Resource("Observation", f"{exam}-{name}", body, version, issued=True)


def person(name, colour):
    return Resource("Patient", name, marked(b"{}", [("colour", colour)]))


class Model:
    """What a store has to hold, said the plain way."""

    def __init__(self):
        self.exams: dict[str, list[ExamVersion]] = {}
        self.members: dict[tuple[str, int], list[tuple]] = {}
        self.resources: dict[tuple[str, str], list[tuple]] = {}
        self.order: list[tuple[str, str, int]] = []

    def add(self, exam, expected):
        held = self.exams.get(exam.id, [])
        if expected is None and held:
            return "same" if exam.digest in (held[0].digest, held[-1].digest) else "conflict"
        if expected is not None and not held:
            return "missing"
        if expected is not None and held[-1].version != expected:
            return "stale"
        self.exams.setdefault(exam.id, []).append(replace(exam, resources=()))
        self.members[exam.id, exam.version] = [self.put(r, exam) for r in exam.resources]
        return "created"

    def put(self, resource, exam):
        held = self.resources.setdefault((resource.type, resource.id), [])
        same = held and held[-1][1] == resource.body
        if not (same if resource.version is None else resource.version <= len(held)):
            number = len(held) + 1
            text = resource.text(number, exam.recorded)
            held.append((text, resource.body))
            self.order.append((resource.type, resource.id, number))
            return text
        return held[-1 if resource.version is None else resource.version - 1][0]

    def newest(self, kind, criteria):
        found = set()
        for (held_kind, identity), held in self.resources.items():
            values = {*map(tuple, json.loads(held[-1][0])["search"]), ("_id", identity)}
            if held_kind == kind and set(criteria) <= values:
                found.add(held[-1][0])
        return found


class Lives(RuleBasedStateMachine):
    @initialize(lot=st.sampled_from([1, 2, 5, 10**6]))
    def begin(self, lot):
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "exams.sqlite3"
        # a lot of one block or of all that wait; sometimes nothing waits for long
        self.lot = mock.patch.multiple(index, LOT=lot, MOST=lot + 1)
        self.lot.start()
        self.store = opened(self.path)
        self.model = Model()
        self.clock = 0

    def tried(self, exam, expected):
        added = self.store.add(exam, expected)
        assert added.outcome == self.model.add(exam, expected)
        held = self.model.exams.get(exam.id)
        assert added.exam == (held[-1] if held else replace(exam, resources=()))

    def now(self):
        self.clock += 1
        return at(self.clock)

    @rule(name=NAMES, who=PEOPLE, colour=COLOURS, parts=CONTENT, other=st.booleans())
    def create(self, name, who, colour, parts, other):
        resources = (*(part(name, k, v, 1) for k, v in parts.items()), person(who, colour))
        content = f"{name}{other}".encode()
        self.tried(first(name, resources, recorded=self.now(), content=content), None)

    @rule(name=NAMES, who=PEOPLE, colour=COLOURS, parts=CONTENT, behind=st.integers(0, 1))
    def correct(self, name, who, colour, parts, behind):
        held = self.model.exams.get(f"id-{name}") or [first(name)]
        before = held[-1 - behind] if behind < len(held) else held[-1]
        resources = [self.next_part(name, k, v) for k, v in parts.items()]
        exam = following(before, (person(who, colour), *resources), recorded=self.now())
        self.tried(exam, before.version)

    def next_part(self, name, key, colour):
        held = self.model.resources.get(("Observation", f"{name}-{key}"), [])
        same = bool(held) and held[-1][1] == part(name, key, colour, 1).body
        return part(name, key, colour, len(held) + (not same))

    @rule(name=NAMES)
    def withdraw_with_everything_as_it_was(self, name):
        held = self.model.exams.get(f"id-{name}")
        if not held:
            return
        resources = []
        for text in self.model.members[held[-1].id, held[-1].version]:
            kind, identity, number = self.named(text)
            _, body = self.model.resources[kind, identity][number - 1]
            issued = kind == "Observation"
            resources.append(Resource(kind, identity, body, number, issued))
        exam = following(held[-1], tuple(resources), recorded=self.now())
        self.tried(exam, held[-1].version)

    def named(self, text):
        for kind, identity, number in self.model.order:
            if self.model.resources[kind, identity][number - 1][0] == text:
                return kind, identity, number
        raise AssertionError

    @rule()
    def open_again(self):
        self.store.close()
        self.store = opened(self.path)

    @rule(name=NAMES, key=PARTS)
    def read(self, name, key):
        identity = f"{name}-{key}"
        held = [row[0] for row in self.model.resources.get(("Observation", identity), [])]
        rows = self.store.history("Observation", identity).rows
        assert [row.text for row in reversed(rows)] == held
        newest = self.store.read("Observation", identity)
        assert (newest and newest.text) == (held[-1] if held else None)

    @rule(
        kind=st.sampled_from(["Observation", "Patient"]),
        criteria=st.lists(
            st.one_of(
                st.tuples(st.just("colour"), COLOURS),
                st.tuples(st.just("part"), PARTS),
                st.tuples(st.just("_id"), st.sampled_from(["EX-1-a", "EX-2-b", "p"])),
            ),
            max_size=3,
        ),
        count=st.integers(1, 4),
    )
    def search(self, kind, criteria, count):
        expected = self.model.newest(kind, criteria)
        asked = wanted(kind, *criteria)
        page = self.store.search(asked, count)
        seen = [row.text for row in page.rows]
        while page.has_next:
            page = self.store.search(asked, count, page.at, page.last)
            seen += [row.text for row in page.rows]
            assert page.total == len(expected)
        assert len(seen) == len(expected)
        assert set(seen) == expected

    @invariant()
    def everything_is_as_it_was_stored(self):
        for exam_id, held in self.model.exams.items():
            assert self.store.versions(exam_id) == tuple(held)
            assert self.store.exam_by_identifier(SYSTEM, held[0].value) == held[-1]
            for one in held:
                rows = self.store.resources(exam_id, one.version)
                assert [row.text for row in rows] == self.model.members[exam_id, one.version]

    def teardown(self):
        self.store.close()
        self.lot.stop()
        self.folder.cleanup()


TestLives = Lives.TestCase
TestLives.settings = settings(max_examples=40, stateful_step_count=20, deadline=None)
