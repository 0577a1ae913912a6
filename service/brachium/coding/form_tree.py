"""The tree of the form: about the exam, about the patient, and a section for each joint."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING

from brachium.coding import form_findings
from brachium.coding.fhir import GENDER
from brachium.coding.form import Choice, Form, Item, groups
from brachium.coding.form_lists import Lists
from brachium.exam.findings import NOTE_PATTERN
from brachium.exam.rule import ModelOptions
from brachium.tables.concepts import PARTS, panel_concept, part_concept

if TYPE_CHECKING:
    from brachium.tables.load import Tables

_TITLES = dict(zip(PARTS, ("Look", "Move", "Feel", "Strength"), strict=True))
_SEXES = {"male": "Male", "female": "Female", "other": "Other", "unknown": "Unknown"}
EVERYTHING = ModelOptions(plus_minus_grades=True, convert_units=True)


@lru_cache(maxsize=8)
def form_of(tables: Tables, canonical: str, options: ModelOptions = EVERYTHING) -> Form:
    """Return the form; ``options`` narrow grades and units to what a site takes.

    The default offers all that any exam can hold, for reading and writing responses.
    """
    lists = Lists(tables, canonical, options)
    joints = [
        _joint(lists, joint, str(number)) for number, joint in enumerate(tables.joints, start=1)
    ]
    items = (_exam(), _patient(lists), *(item for item in joints if item.items))
    return Form(items, {group.words: group for group in groups(items)})


def _exam() -> Item:
    note = form_findings.LONGEST_NOTE
    return Item(
        link="exam.about",
        text="The examination",
        kind="group",
        required=True,
        items=(
            Item(
                link="exam.effective",
                text="Moment of the examination",
                kind="dateTime",
                member="effective",
                required=True,
            ),
            Item(
                link="exam.facility",
                text="Facility, by its identifier",
                kind="reference",
                member="facility/identifier",
                refers="Organization",
                required=True,
            ),
            Item(
                link="exam.note",
                text="Note on the whole examination",
                kind="text",
                member="note",
                longest=note,
                form=NOTE_PATTERN,
            ),
        ),
    )


def _patient(lists: Lists) -> Item:
    sexes = tuple(
        Choice(GENDER, code, display, (("patient/sex", code),)) for code, display in _SEXES.items()
    )
    return Item(
        link="exam.patient",
        text="The patient",
        kind="group",
        required=True,
        items=(
            Item(
                link="exam.birth-date",
                text="Date of birth",
                kind="date",
                member="patient/birthDate",
                required=True,
            ),
            Item(link="exam.sex", text="Sex", kind="choice", choices=sexes, required=True),
            Item(
                link="exam.dominant-hand",
                text="Dominant hand",
                kind="choice",
                choices=lists.hands(),
                concept="dominant-hand",
                required=True,
            ),
        ),
    )


def _joint(lists: Lists, joint: str, prefix: str) -> Item:
    return Item(
        link=joint,
        text=lists.tables.joints[joint].label,
        kind="group",
        prefix=prefix,
        concept=panel_concept(joint),
        items=tuple(_parts(lists, joint, prefix)),
    )


def _parts(lists: Lists, joint: str, prefix: str) -> Iterator[Item]:
    number = 0
    for part in PARTS:
        link = f"{joint}.{part}.finding"
        if not _recorded(lists, joint, part):
            continue
        number += 1
        yield Item(
            link=f"{joint}.{part}",
            text=_TITLES[part],
            kind="group",
            prefix=f"{prefix}.{number}",
            items=(
                _finding(lists, joint, part, link),
                _whole(lists, joint, part),
            ),
        )


def _recorded(lists: Lists, joint: str, part: str) -> bool:
    if part == "motion":
        return bool(lists.motions(joint))
    return bool(lists.tests(joint) if part == "strength" else lists.sites(joint, part))


def _finding(lists: Lists, joint: str, part: str, link: str) -> Item:
    build = {"motion": form_findings.motions, "strength": form_findings.strength}
    items = (
        build[part](lists, joint, link)
        if part in build
        else form_findings.signs(lists, joint, part, link)
    )
    words = (("kind", part), ("joint", joint))
    return Item(link=link, text="Finding", kind="group", repeats=True, words=words, items=items)


def _whole(lists: Lists, joint: str, part: str) -> Item:
    link = f"{joint}.{part}.whole"
    return Item(
        link=link,
        text="All of it at once",
        kind="group",
        repeats=True,
        concept=part_concept(joint, part),
        words=(("kind", "part"), ("joint", joint), ("part", part)),
        items=form_findings.whole(lists, joint, link),
    )
