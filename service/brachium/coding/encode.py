"""An assessed exam to FHIR R4 resources. Same exam, tables, options and stamp: same bytes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from brachium.assess.assessment import Assessment
from brachium.coding.computed import computed, goes_out
from brachium.coding.derived import Compared, panel, side_difference
from brachium.coding.frame import Frame
from brachium.coding.narrative import account
from brachium.coding.observation import Said, observation
from brachium.coding.options import CodingOptions, Encoded, Stamp
from brachium.coding.parties import examiner, facility, patient
from brachium.coding.report import report
from brachium.coding.vocabulary import Notice, Vocabulary, problem
from brachium.exam.findings import Exam
from brachium.exam.leaves import Leaf
from brachium.problems import Problem
from brachium.records import Resource
from brachium.tables.load import Tables

_NOT_EXAMINED = "not-examined"


@lru_cache(maxsize=16)
def vocabulary_of(tables: Tables, options: CodingOptions) -> Vocabulary:
    """Return the vocabulary of the tables under the options; templates are kept with it."""
    return Vocabulary(tables, options)


def encode(
    exam: Exam,
    leaves: Sequence[Leaf],
    assessment: Assessment,
    tables: Tables,
    options: CodingOptions,
    stamp: Stamp,
) -> Encoded:
    """Code a checked exam: parties, an Observation per leaf and computed value, panels, report.

    Entries that were not examined get no Observation; the report carries them (EXM-15). Raises
    ``KeyError`` for words that the tables lack: a checked exam has none.
    """
    vocabulary = vocabulary_of(tables, options)
    frame = Frame(exam, stamp)
    skipped = [leaf for leaf in leaves if _skip(leaf)]
    coded = [leaf for leaf in leaves if not _skip(leaf)] if skipped else leaves
    said = [observation(leaf, assessment.ranges.get(leaf.key), vocabulary, frame) for leaf in coded]
    by_key = {one.leaf.key: one for one in said}
    compared = [
        side_difference(difference, by_key, vocabulary, frame)
        for difference in assessment.differences
    ]
    compared += [
        computed(derived, by_key, vocabulary, frame)
        for derived in assessment.computed
        if goes_out(derived, vocabulary)
    ]
    panels = _panels(said, compared, vocabulary, frame)
    words = account(exam, leaves, assessment, tables, stamp)
    envelope = report(words, panels, skipped, vocabulary, frame)
    return Encoded(
        (
            patient(vocabulary, frame),
            examiner(frame),
            facility(frame),
            *(one.resource for one in said),
            *(other.resource for other in compared),
            *panels,
            envelope,
        ),
        _problems(said),
    )


def _skip(leaf: Leaf) -> bool:
    absent = leaf.finding.absent
    return absent is not None and absent.reason == _NOT_EXAMINED


def _panels(
    said: Sequence[Said], compared: Sequence[Compared], vocabulary: Vocabulary, frame: Frame
) -> list[Resource]:
    """Return one panel per joint with a finding or a value, in the order of the tables."""
    members: dict[str, list[tuple[Resource, str]]] = {}
    for one in said:
        members.setdefault(one.leaf.finding.joint, []).append((one.resource, one.status))
    for other in compared:
        members.setdefault(other.joint, []).append((other.resource, other.status))
    joints = sorted(members, key=lambda joint: vocabulary.tables.joints[joint].order)
    return [panel(joint, members[joint], vocabulary, frame)[0] for joint in joints]


def _problems(said: Sequence[Said]) -> tuple[Problem, ...]:
    """Return one problem per concept without a standard code and per unverified code."""
    first: dict[Notice, int] = {}
    for one in said:
        for notice in one.template.notices:
            if notice not in first:
                first[notice] = one.leaf.index
    return tuple(problem(notice, index) for notice, index in first.items())
