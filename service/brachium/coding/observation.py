"""One leaf to one Observation (OBS-01): static text from its template, the rest from the exam."""

from __future__ import annotations

from typing import NamedTuple

from brachium.assess.judgement import Judgement
from brachium.coding import words
from brachium.coding.frame import Frame
from brachium.coding.jsontext import dump
from brachium.coding.results import coded_component, result
from brachium.coding.templates import Subject, Template, circumstances, judged, template
from brachium.coding.vocabulary import Vocabulary
from brachium.exam.findings import Finding, Motion, Part, Sign, Strength
from brachium.exam.leaves import Leaf
from brachium.records import Resource
from brachium.tables.concepts import option_concept


class Said(NamedTuple):
    """A coded leaf: its resource, and what the report says about it.

    ``text`` names the finding, ``words`` its result or why there is none; ``note`` is the
    examiner's own text.
    """

    leaf: Leaf
    resource: Resource
    status: str
    template: Template
    words: str
    interpretation: str | None

    @property
    def text(self) -> str:
        """What was examined and on which side."""
        return self.template.text


def subject_of(leaf: Leaf) -> Subject:
    """Return the words that name the finding of a leaf."""
    finding = leaf.finding
    kind, joint, digit = finding.kind, finding.joint, finding.digit or ""
    if isinstance(finding, Motion):
        straight = finding.end == "straight"
        arm = finding.arm_position or ""
        return Subject(
            kind, joint, finding.motion, leaf.side, digit, "", finding.mode, arm, straight
        )
    if isinstance(finding, Sign):
        return Subject(kind, joint, finding.sign, leaf.side, digit, finding.site, "", "", False)
    item = finding.part if isinstance(finding, Part) else finding.test
    return Subject(kind, joint, item, leaf.side, digit, "", "", "", False)


def observation(
    leaf: Leaf, judgement: Judgement | None, vocabulary: Vocabulary, frame: Frame
) -> Said:
    """Return the Observation of a leaf that was examined or states why not (OBS-12)."""
    finding = leaf.finding
    made = template(vocabulary, subject_of(leaf))
    status = frame.status(leaf.key)
    how = _circumstances(finding, made, vocabulary)
    if finding.absent is not None:
        status = status if status == "entered-in-error" else "cancelled"
        said = words.absence(finding.absent, vocabulary.tables)
        middle = f"{made.head}: {said}{made.tail}{how}"
        components = made.components
    else:
        found = result(finding, vocabulary)
        said = found.words
        middle = f"{made.head}{found.text}{made.tail}{how},{found.value}"
        components = found.components + made.components
    if judgement is not None:
        middle += judged(vocabulary, judgement.interpretation, judgement.reference)
    if isinstance(finding, Motion | Strength) and finding.limited_by:
        limits = finding.limited_by
        components += tuple(_limit(vocabulary, limit) for limit in limits)
    if components:
        middle += f',"component":[{",".join(components)}]'
    if finding.note is not None:
        middle += f',"note":[{{"text":{dump(finding.note)}}}]'
    resource = frame.observation(leaf.key, status, middle, made.search)
    interpretation = judgement.interpretation if judgement is not None else None
    return Said(leaf, resource, status, made, said, interpretation)


def _circumstances(finding: Finding, made: Template, vocabulary: Vocabulary) -> str:
    if isinstance(finding, Motion | Strength):
        method, position = finding.method or "", finding.position or ""
    else:
        method, position = made.method, ""  # the kind is its own method
    text = circumstances(vocabulary, method, made.method, position, finding.absent)
    return f",{text}" if text else ""


def _limit(vocabulary: Vocabulary, limit: str) -> str:
    return coded_component(vocabulary, "limited-by", option_concept("limiter", limit))
