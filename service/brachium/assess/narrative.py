"""The account of an exam in plain language: joint by joint, right and left side by side.

The same exam always gives the same account, in whatever order its findings came. Every finding of
every side is in it, tested or not; nothing in it is a diagnosis. What it is made of are sections;
:mod:`brachium.assess.narrative_forms` turns them into text and into XHTML.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from brachium.assess.completeness import DONE, EITHER_SIDE
from brachium.assess.narrative_joints import Row, differences_of, rows_of
from brachium.assess.verdicts import OUTSIDE, verdict
from brachium.assess.wording import absence, named, place_in_order, result, topic
from brachium.tables.concepts import in_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from brachium.assess.assessment import Assessment
    from brachium.assess.completeness import Cell, Completeness
    from brachium.assess.derived import Derived
    from brachium.assess.prompts import Prompt
    from brachium.assess.weakness import Pattern
    from brachium.exam.findings import Exam
    from brachium.exam.leaves import Leaf
    from brachium.tables.load import Tables

TITLE = "Examination of the arms"
STANDS_OUT = "What stands out"
WEAKNESS = "Pattern of weakness"
TO_CONSIDER = "To consider"
ALSO_COMPUTED = "Also computed"
LEFT_OUT = "Without a result"
COVERED = "What the examination covers"
EXAMINER_NOTE = "Note of the examiner"
CAUTION = (
    "This account was made from the recorded findings by fixed rules and is no diagnosis. "
    "References are published or proposed figures; what a finding means is decided by a clinician "
    "under the local protocol."
)
NOTHING = (
    "Nothing stands out against the references used; a finding without a reference was not judged."
)
_SIDES = ("right", "left", "both")


class Section(NamedTuple):
    """A title (empty for the opening and the end), sentences, and findings side by side."""

    title: str
    lines: tuple[str, ...] = ()
    rows: tuple[Row, ...] = ()


class Narrative(NamedTuple):
    """An account: a title and its sections in reading order; the last one is the caution."""

    title: str
    sections: tuple[Section, ...]

    def lines(self, title: str) -> tuple[str, ...]:
        """Return the sentences of the section with a title; none when there is no such section."""
        return next((one.lines for one in self.sections if one.title == title), ())


def narrate(
    exam: Exam,
    leaves: Iterable[Leaf],
    assessment: Assessment,
    tables: Tables,
    *,
    derived: Sequence[Derived] = (),
    prompts: Sequence[Prompt] = (),
    patterns: Sequence[Pattern] = (),
    completeness: Completeness | None = None,
    first: Sequence[str] = (),
) -> Narrative:
    """Return the account of an exam; ``first`` are sentences that must be read before all else."""
    ordered = sorted(leaves, key=lambda leaf: _order(leaf, tables))
    sections = [
        Section("", (*first, _opening(exam))),
        Section(STANDS_OUT, _stands_out(ordered, assessment, derived, tables)),
        Section(WEAKNESS, _patterns(patterns)),
        Section(TO_CONSIDER, tuple(prompt.statement for prompt in prompts)),
        *_joints(ordered, assessment, derived, tables),
        Section(LEFT_OUT, _left_out(ordered, tables)),
        Section(COVERED, _covered(completeness, tables)),
        Section(EXAMINER_NOTE, () if exam.note is None else (quoted(exam.note),)),
        Section("", (CAUTION,)),
    ]
    return Narrative(TITLE, tuple(one for one in sections if one.lines or one.rows))


def conclusion(narrative: Narrative) -> str:
    """Return the account in one paragraph: what stands out, what to consider, what is left out."""
    opening = narrative.sections[0].lines
    told = (*opening, *(line for title in _SUMMARY for line in narrative.lines(title)))
    return " ".join(told)


_SUMMARY = (STANDS_OUT, WEAKNESS, TO_CONSIDER, LEFT_OUT)


def quoted(note: str) -> str:
    """Return what somebody wrote, as it was written, between quotation marks."""
    return f"\u201c{note}\u201d"


def _order(leaf: Leaf, tables: Tables) -> tuple[object, ...]:
    return place_in_order(topic(leaf), tables), _SIDES.index(leaf.side), leaf.key


def _derived_order(one: Derived) -> tuple[object, ...]:
    return one.name, one.joint, one.digit, _SIDES.index(one.side), one.qualifier


def _opening(exam: Exam) -> str:
    hand = exam.patient.dominant_hand
    return f"Examined at {exam.effective}, record {exam.status}; dominant hand: {hand}."


def _stands_out(
    leaves: Iterable[Leaf], assessment: Assessment, derived: Iterable[Derived], tables: Tables
) -> tuple[str, ...]:
    lines = []
    for leaf in leaves:
        judged = assessment.ranges.get(leaf.key)
        if judged is not None and judged.interpretation in OUTSIDE:
            said = f"{_name(leaf, tables)}: {result(leaf, tables)}"
            lines.append(f"{said}{verdict(judged, tables, basis=True)}.")
    flagged = sorted((one for one in derived if one.flagged), key=_derived_order)
    differences = [one for one in assessment.differences if one.flagged]
    lines += [f"{text}." for text in differences_of(differences, tables, named_in_full=True)]
    lines += [one.statement for one in flagged]
    return tuple(lines) or (NOTHING,)


def _name(leaf: Leaf, tables: Tables) -> str:
    name = named(topic(leaf), leaf.side, tables)
    return name[:1].upper() + name[1:]


def _patterns(patterns: Iterable[Pattern]) -> tuple[str, ...]:
    return tuple(
        f"{one.statement} Sources: {', '.join(one.sources)}; rule {one.rule}." for one in patterns
    )


def _joints(
    leaves: Sequence[Leaf], assessment: Assessment, derived: Iterable[Derived], tables: Tables
) -> Iterable[Section]:
    """Yield one section per joint of which anything is told, then what belongs to no joint."""
    groups: dict[str, list[Leaf]] = {}
    for leaf in leaves:
        groups.setdefault(leaf.finding.joint, []).append(leaf)
    computed: dict[str, list[Derived]] = {}
    for one in sorted(derived, key=_derived_order):
        computed.setdefault(one.joint, []).append(one)
    for joint, row in sorted(tables.joints.items(), key=lambda item: item[1].order):
        own = groups.get(joint, [])
        told = [one.statement for one in computed.pop(joint, [])]
        differences = [one for one in assessment.differences if one.what.joint == joint]
        lines = (*differences_of(differences, tables), *told, *_notes(own, tables))
        title = row.plural[:1].upper() + row.plural[1:]
        yield Section(title, lines, rows_of(own, assessment, tables))
    rest = tuple(one.statement for some in computed.values() for one in some)
    yield Section(ALSO_COMPUTED, rest)


def _notes(leaves: Iterable[Leaf], tables: Tables) -> list[str]:
    once = {leaf.index: leaf for leaf in leaves if leaf.finding.note is not None}
    return [
        f"Note on {named(topic(leaf), leaf.finding.side, tables)}: {quoted(leaf.finding.note)}"
        for leaf in once.values()
        if leaf.finding.note is not None
    ]


def _left_out(leaves: Iterable[Leaf], tables: Tables) -> tuple[str, ...]:
    return tuple(
        f"{_name(leaf, tables)}: {absence(leaf.finding.absent, tables)}."
        for leaf in leaves
        if leaf.finding.absent is not None
    )


def _covered(completeness: Completeness | None, tables: Tables) -> tuple[str, ...]:
    if completeness is None:
        return ()
    groups: dict[str, list[str]] = {}
    for cell in completeness.cells:
        if cell.state != DONE:
            groups.setdefault(cell.state, []).append(_cell(cell, tables))
    return (
        completeness.statement,
        *(f"{_state(state)}: {'; '.join(some)}." for state, some in sorted(groups.items())),
    )


def _state(state: str) -> str:
    return state.replace("-", " ").capitalize()


def _cell(cell: Cell, tables: Tables) -> str:
    row = tables.joints[cell.joint]
    side = "" if cell.side == EITHER_SIDE else f"{cell.side} "
    name = side + (row.plural if row.digits else in_text(row.label))
    if cell.leaves and cell.missing:
        return f"{name}, {cell.part} (missing: {', '.join(cell.missing)})"
    return f"{name}, {cell.part}"
