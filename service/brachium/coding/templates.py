"""The parts of an Observation that are the same for every patient: made once, then copied.

A template belongs to one vocabulary, that is to one set of tables under one set of options. What
depends on the exam (value, note, identifiers, status) is added by the observation module.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

from brachium.assess.reference import Reference
from brachium.coding import words
from brachium.coding.fhir import (
    ABSENT_REASON,
    BODY_POSITION,
    DATA_ABSENT,
    DEVICE_CODE,
    INTERPRETATION,
    OBSERVATION_CATEGORY,
    RANGE_MEANING,
    STATUS_REASON,
    UCUM,
)
from brachium.coding.jsontext import dump, fragment, inside, members
from brachium.coding.results import coded_component
from brachium.coding.sites import body_site
from brachium.coding.vocabulary import Notice, Vocabulary
from brachium.exam.findings import Absent
from brachium.records import SearchValue
from brachium.tables.concepts import (
    absence_concept,
    device_concept,
    method_concept,
    motion_concept,
    option_concept,
    part_concept,
    sign_concept,
    strength_concept,
)


class Subject(NamedTuple):
    """The words that name one finding on one side; empty where a word does not belong to the kind.

    ``item`` is the motion, sign, strength test or part; ``straight`` tells an end of extension that
    is exactly straight.
    """

    kind: str
    joint: str
    item: str
    side: str
    digit: str
    site: str
    mode: str
    arm_position: str
    straight: bool


class Template(NamedTuple):
    """``head`` ends inside the string of code.text, so that a result in words can follow."""

    head: str
    tail: str
    text: str
    components: tuple[str, ...]
    search: tuple[SearchValue, ...]
    notices: tuple[Notice, ...]
    method: str


@lru_cache(maxsize=16384)
def template(vocabulary: Vocabulary, subject: Subject) -> Template:
    """Return the template of a subject; raises ``KeyError`` for words the tables lack."""
    concept = concept_of(vocabulary, subject)
    part = subject.kind if subject.site else ""
    place = body_site(vocabulary, subject.joint, part, subject.site, subject.digit, subject.side)
    codings = vocabulary.codings(concept, subject.side, straight=subject.straight)
    text = _text(vocabulary, subject)
    arm = subject.arm_position
    return Template(
        head=f'{category(vocabulary)},"code":{{"coding":{dump(codings)},"text":"{inside(text)}',
        tail=f'"}},"bodySite":{place.text}',
        text=text,
        components=(
            (coded_component(vocabulary, "arm-position", option_concept("arm-position", arm)),)
            if arm
            else ()
        ),
        search=(*search_codes(codings), *place.search),
        notices=(*vocabulary.notices(concept, codings), *place.notices),
        method=_default_method(vocabulary, subject),
    )


def concept_of(vocabulary: Vocabulary, subject: Subject) -> str:
    """Return the own concept of a subject."""
    joint, item = subject.joint, subject.item
    if subject.kind == "motion":
        return motion_concept(vocabulary.tables.motions[joint, item], subject.mode)
    if subject.kind == "strength":
        return strength_concept(joint, item)
    if subject.kind == "part":
        return part_concept(joint, item)
    return sign_concept(subject.kind, item)


def category(vocabulary: Vocabulary) -> str:
    """Return the category member: exam, on every Observation (OBS-01)."""
    coding = vocabulary.standard(OBSERVATION_CATEGORY, "exam")
    return f'"category":[{dump({"coding": [coding]})}]'


def search_codes(codings: list[Any]) -> tuple[SearchValue, ...]:
    """Return the search rows of code and category of an Observation."""
    return (
        *(SearchValue("code", f"{c['system']}|{c['code']}") for c in codings),
        SearchValue("category", f"{OBSERVATION_CATEGORY}|exam"),
    )


def _text(vocabulary: Vocabulary, subject: Subject) -> str:
    tables, side = vocabulary.tables, subject.side
    joint, item, digit = subject.joint, subject.item, subject.digit
    if subject.kind == "motion":
        row = tables.motions[joint, item]
        return words.motion(tables, row, subject.mode, digit, subject.arm_position, side)
    if subject.kind == "strength":
        return words.strength(tables, tables.strength[joint, item], digit, side)
    where = words.place(tables, joint, subject.kind, subject.site, digit)
    where = f"{words.SIDES[side]} {where}"
    if subject.kind == "part":
        return words.capital(f"{where}, {item} as a whole")
    return words.sign(tables.signs[subject.kind, item], where)


def _default_method(vocabulary: Vocabulary, subject: Subject) -> str:
    """Return the method that goes out when the examiner stated none, or nothing."""
    tables, key = vocabulary.tables, (subject.joint, subject.item)
    measure = ""
    if subject.kind == "motion":
        measure = tables.motions[key].measure
    elif subject.kind == "strength":
        measure = tables.strength[key].measure
    for row in tables.methods.values():
        if row.default and subject.kind in row.kinds and measure in (row.measures or ("",)):
            return row.method
    return ""


@lru_cache(maxsize=4096)
def circumstances(
    vocabulary: Vocabulary, method: str, default: str, position: str, absent: Absent | None
) -> str:
    """Return the members that say how a finding was made, or why it was not.

    ``method`` is what the examiner stated, ``default`` what goes out when nothing was; the second
    is marked, because nobody said it.
    """
    found: dict[str, Any] = {}
    extensions = []
    if position:
        extensions.append(_coded(vocabulary, BODY_POSITION, option_concept("position", position)))
    row = vocabulary.tables.methods.get(method or default)
    if row is not None and row.device:
        extensions.append(_coded(vocabulary, DEVICE_CODE, device_concept(row.device)))
    if absent is not None:
        concept = absence_concept(absent.reason, absent.because)
        extensions.append(_coded(vocabulary, STATUS_REASON, concept))
        reason = vocabulary.standard(ABSENT_REASON, DATA_ABSENT[absent.reason])
        own = vocabulary.own(concept)
        found["dataAbsentReason"] = {"coding": [reason, own], "text": own["display"]}
    if row is not None:
        found["method"] = _method(vocabulary, row.method, row.label, stated=bool(method))
    if extensions:
        found["extension"] = extensions
    return members(found)


def _method(vocabulary: Vocabulary, method: str, label: str, *, stated: bool) -> dict[str, Any]:
    coded: dict[str, Any] = {"coding": vocabulary.codings(method_concept(method)), "text": label}
    if not stated:
        url = vocabulary.urls.definition("method-not-stated")
        coded = {"extension": [{"url": url, "valueBoolean": True}], **coded}
    return coded


def _coded(vocabulary: Vocabulary, url: str, concept: str) -> dict[str, Any]:
    return {"url": url, "valueCodeableConcept": {"coding": vocabulary.codings(concept)}}


@lru_cache(maxsize=16384)
def judged(vocabulary: Vocabulary, interpretation: str | None, reference: Reference) -> str:
    """Return interpretation and referenceRange (OBS-07), each with a comma in front."""
    text = ""
    if interpretation is not None:
        coding = vocabulary.standard(INTERPRETATION, interpretation)
        text = f',"interpretation":[{dump({"coding": [coding]})}]'
    ranges = _range(vocabulary, reference)
    return f'{text},"referenceRange":{dump(ranges)}' if ranges else text


def _range(vocabulary: Vocabulary, reference: Reference) -> list[Any]:
    if not reference.text:
        return []
    normal = vocabulary.standard(RANGE_MEANING, "normal")
    found: dict[str, Any] = {}
    for name, value in (("low", reference.low), ("high", reference.high)):
        if value is not None:
            found[name] = {
                "value": fragment(value),
                "unit": reference.unit,
                "system": UCUM,
                "code": reference.unit,
            }
    return [{**found, "type": {"coding": [normal]}, "text": reference.text}]
