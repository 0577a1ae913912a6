"""One leaf to one Observation (OBS-01): static text from its template, the rest from the exam."""

from __future__ import annotations

from typing import NamedTuple

from brachium.assess.judgement import Judgement
from brachium.coding.frame import Frame
from brachium.coding.jsontext import dump
from brachium.coding.results import result
from brachium.coding.templates import Subject, Template, judged, template
from brachium.coding.vocabulary import Vocabulary
from brachium.exam.findings import Motion, Part, Sign
from brachium.exam.leaves import Leaf
from brachium.records import Resource


class Said(NamedTuple):
    """A coded leaf."""

    leaf: Leaf
    resource: Resource
    status: str
    template: Template


def subject_of(leaf: Leaf) -> Subject:
    """Return the words that name the finding of a leaf."""
    finding = leaf.finding
    kind, joint, digit = finding.kind, finding.joint, finding.digit or ""
    absent = finding.absent
    reason, because = ("", "") if absent is None else (absent.reason, absent.because or "")
    if isinstance(finding, Motion):
        return Subject(
            kind,
            joint,
            finding.motion,
            leaf.side,
            digit,
            reason,
            because,
            "",
            finding.mode,
            finding.arm_position or "",
            finding.end == "straight",
            finding.method or "",
            finding.position or "",
            finding.limited_by,
        )
    if isinstance(finding, Sign):
        return Subject(kind, joint, finding.sign, leaf.side, digit, reason, because, finding.site)
    if isinstance(finding, Part):
        return Subject(kind, joint, finding.part, leaf.side, digit, reason, because)
    return Subject(
        kind,
        joint,
        finding.test,
        leaf.side,
        digit,
        reason,
        because,
        method=finding.method or "",
        position=finding.position or "",
        limited_by=finding.limited_by,
    )


def observation(
    leaf: Leaf, judgement: Judgement | None, vocabulary: Vocabulary, frame: Frame
) -> Said:
    """Return the Observation of a leaf that was examined or states why not (OBS-12)."""
    finding = leaf.finding
    made = template(vocabulary, subject_of(leaf))
    status, components = frame.status(leaf.key), made.components
    text = rest = ""
    if finding.absent is None:
        value, text, own = result(finding, vocabulary)
        rest = f",{value}"
        components = f"{own},{components}" if own and components else own or components
    elif status != "entered-in-error":
        status = "cancelled"
    if judgement is not None:
        rest += judged(vocabulary, judgement.interpretation, judgement.reference)
    if components:
        rest += f',"component":[{components}]'
    if finding.note is not None:
        rest += f',"note":[{{"text":{dump(finding.note)}}}]'
    resource = frame.observation(leaf.key, status, made.head, text, made.tail, rest)
    return Said(leaf, resource, status, made)
