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
from brachium.tables.rows import Method


class Subject(NamedTuple):
    """The words of one finding on one side; empty where a word does not belong to the kind.

    ``item`` is the motion, sign, strength test or part; ``straight`` tells an end of extension that
    is exactly straight; ``method`` is what the examiner stated; ``reason`` and ``because`` say why
    there is no result.
    """

    kind: str
    joint: str
    item: str
    side: str
    digit: str
    reason: str
    because: str
    site: str = ""
    mode: str = ""
    arm_position: str = ""
    straight: bool = False
    method: str = ""
    position: str = ""
    limited_by: tuple[str, ...] = ()


class Template(NamedTuple):
    """Everything of an Observation that its subject decides.

    ``head`` ends inside the string of code.text, so that a result in words can follow; ``tail``
    goes on from there. ``text`` names the finding, ``absence`` says why there is no result.
    """

    head: str
    tail: str
    text: str
    absence: str
    components: str
    notices: tuple[Notice, ...]


@lru_cache(maxsize=16384)
def template(vocabulary: Vocabulary, subject: Subject) -> Template:
    """Return the template of a subject; raises ``KeyError`` for words the tables lack."""
    concept = concept_of(vocabulary, subject)
    part = subject.kind if subject.site else ""
    place = body_site(vocabulary, subject.joint, part, subject.site, subject.digit, subject.side)
    codings = vocabulary.codings(concept, subject.side, straight=subject.straight)
    text = _text(vocabulary, subject)
    absence = words.absence(subject.reason, subject.because, vocabulary.tables)
    said = inside(f"{text}: {absence}" if absence else text)
    how = members(_circumstances(vocabulary, subject))
    return Template(
        head=f'{category(vocabulary)},"code":{{"coding":{dump(codings)},"text":"{said}',
        tail=f'"}},"bodySite":{place.text}{"," if how else ""}{how}',
        text=text,
        absence=absence,
        components=_components(vocabulary, subject),
        notices=(*vocabulary.notices(concept, codings), *place.notices),
    )


def _components(vocabulary: Vocabulary, subject: Subject) -> str:
    parts = [("arm-position", "arm-position", subject.arm_position)] * bool(subject.arm_position)
    parts += [("limited-by", "limiter", limit) for limit in subject.limited_by]
    return ",".join(
        coded_component(vocabulary, name, option_concept(kind, word)) for name, kind, word in parts
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


def _circumstances(vocabulary: Vocabulary, subject: Subject) -> dict[str, Any]:
    """Return the members that say how a finding was made, or why it was not (OBS-08, OBS-12)."""
    found: dict[str, Any] = {}
    extensions = []
    if subject.position:
        concept = option_concept("position", subject.position)
        extensions.append(_coded(vocabulary, BODY_POSITION, concept))
    row = vocabulary.tables.methods.get(subject.method) or _default_method(vocabulary, subject)
    if row is not None and row.device:
        extensions.append(_coded(vocabulary, DEVICE_CODE, device_concept(row.device)))
    if subject.reason in DATA_ABSENT:
        concept = absence_concept(subject.reason, subject.because or None)
        extensions.append(_coded(vocabulary, STATUS_REASON, concept))
        reason = vocabulary.standard(ABSENT_REASON, DATA_ABSENT[subject.reason])
        own = vocabulary.own(concept)
        found["dataAbsentReason"] = {"coding": [reason, own], "text": own["display"]}
    if row is not None:
        found["method"] = _method(vocabulary, row, subject)
    if extensions:
        found["extension"] = extensions
    return found


def _default_method(vocabulary: Vocabulary, subject: Subject) -> Method | None:
    """Return the method that goes out when the examiner stated none, if there is one."""
    tables, key = vocabulary.tables, (subject.joint, subject.item)
    measure = ""
    if subject.kind == "motion":
        measure = tables.motions[key].measure
    elif subject.kind == "strength":
        measure = tables.strength[key].measure
    for row in tables.methods.values():
        if row.default and subject.kind in row.kinds and measure in (row.measures or ("",)):
            return row
    return None


def _method(vocabulary: Vocabulary, row: Method, subject: Subject) -> dict[str, Any]:
    coded = {"coding": vocabulary.codings(method_concept(row.method)), "text": row.label}
    # a sign is its own method; for the others, nobody said what goes out here
    if subject.method or subject.kind not in ("motion", "strength"):
        return coded
    url = vocabulary.urls.definition("method-not-stated")
    return {"extension": [{"url": url, "valueBoolean": True}], **coded}


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
