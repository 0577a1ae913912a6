"""The result of a leaf: its value[x], the components that qualify it, and both in words."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from brachium.assess.judgement import grade_text
from brachium.assess.values import end_position
from brachium.coding import words
from brachium.coding.fhir import ORDINAL, UCUM, YES_NO
from brachium.coding.jsontext import dump, fragment, number
from brachium.coding.vocabulary import Vocabulary
from brachium.exam.findings import Converted, Finding, Motion, Quantity, Sign, Strength

_SCORE = f'"unit":"/10","system":"{UCUM}","code":"{{score}}"}}'


class Result(NamedTuple):
    """What a finding is turned into.

    ``value`` is one JSON member; ``text`` is appended to code.text; ``components`` is the JSON text
    of the components, separated by commas. Nothing here holds what the examiner wrote freely.
    """

    value: str
    text: str = ""
    components: str = ""


def result(finding: Finding, vocabulary: Vocabulary) -> Result:
    """Return the result of a finding that has one."""
    if isinstance(finding, Motion):
        return _motion(finding, vocabulary)
    if isinstance(finding, Sign):
        return _sign(finding, vocabulary)
    if isinstance(finding, Strength):
        return _strength(finding, vocabulary)
    return _overall(finding.outcome or "", vocabulary)


def _motion(finding: Motion, vocabulary: Vocabulary) -> Result:
    measured = finding.angle or finding.distance
    if measured is not None:
        return Result(quantity(measured, vocabulary), "", _original(measured, vocabulary))
    if finding.end is not None:
        return _end(finding, finding.end, vocabulary)
    row = vocabulary.tables.motions[finding.joint, finding.motion]
    return _grade(row.scale, finding.grade or "", vocabulary)


def _original(measured: Quantity | None, vocabulary: Vocabulary) -> str:
    """EXM-12: beside a converted quantity stands the one that was posted."""
    if not isinstance(measured, Converted):
        return ""
    entered = quantity(measured.original, vocabulary)
    return component_of(vocabulary, "original-quantity", entered)


def _end(finding: Motion, end: str, vocabulary: Vocabulary) -> Result:
    position = end_position(finding) or Decimal(0)
    unit = finding.magnitude.unit if finding.magnitude else _degrees(vocabulary)
    parts = [coded_component(vocabulary, "axis-convention", "flexion-positive-neutral-zero")]
    if position:
        name = "extension-deficit-angle" if position > 0 else "hyperextension-angle"
        parts.append(component_of(vocabulary, name, _value(abs(position), unit, vocabulary)))
    if original := _original(finding.magnitude, vocabulary):
        parts.append(original)
    said = words.end(end, abs(position))
    return Result(_value(position, unit, vocabulary), f": {said}", ",".join(parts))


def _sign(finding: Sign, vocabulary: Vocabulary) -> Result:
    found = _outcome(finding.kind, finding.sign, bool(finding.present), vocabulary)
    if finding.severity is None:
        return found
    digits = number(finding.severity)
    component = component_of(vocabulary, "severity", f'"valueQuantity":{{"value":{digits},{_SCORE}')
    return Result(found.value, "", component)


def _strength(finding: Strength, vocabulary: Vocabulary) -> Result:
    if not finding.trials:
        row = vocabulary.tables.strength[finding.joint, finding.test]
        return _grade(row.scale, finding.grade or "", vocabulary)
    units = vocabulary.tables.units
    best = max(finding.trials, key=lambda trial: trial.value * units[trial.unit].factor)
    how = words.best_of(len(finding.trials))
    trials = [
        component_of(vocabulary, "trial", quantity(trial, vocabulary))
        + (f",{_original(trial, vocabulary)}" if isinstance(trial, Converted) else "")
        for trial in finding.trials
    ]
    return Result(quantity(best, vocabulary), f", {how}", ",".join(trials))


def quantity(measured: Quantity, vocabulary: Vocabulary) -> str:
    """Return ``"valueQuantity":{...}`` with the digits as written."""
    return _value(measured.value, measured.unit, vocabulary)


def _value(value: Decimal, unit: str, vocabulary: Vocabulary) -> str:
    return f'"valueQuantity":{{"value":{number(value)},{vocabulary.units[unit]}'


@lru_cache(maxsize=16)
def _degrees(vocabulary: Vocabulary) -> str:
    """The unit of an end that is straight and has no magnitude: the base unit of angles."""
    return next(row.base for row in vocabulary.tables.units.values() if row.dimension == "angle")


@lru_cache(maxsize=256)
def _component_head(concept: str, vocabulary: Vocabulary) -> str:
    return f'{{"code":{dump({"coding": vocabulary.codings(concept)})},'


def component_of(vocabulary: Vocabulary, concept: str, value: str) -> str:
    """Return a component; ``value`` is one JSON member."""
    return f"{_component_head(concept, vocabulary)}{value}}}"


@lru_cache(maxsize=1024)
def coded_component(vocabulary: Vocabulary, concept: str, value: str) -> str:
    """Return a component whose value is one of our own concepts."""
    coded = {"coding": vocabulary.codings(value)}
    return component_of(vocabulary, concept, f'"valueCodeableConcept":{dump(coded)}')


@lru_cache(maxsize=512)
def _outcome(part: str, sign: str, present: bool, vocabulary: Vocabulary) -> Result:
    row = vocabulary.tables.signs[part, sign]
    said = row.present if present else row.absent
    # R4 Observation 10.1.4.6 discourages a boolean
    coding = vocabulary.standard(YES_NO, "Y" if present else "N")
    return Result(f'"valueCodeableConcept":{dump({"coding": [coding], "text": said})}')


@lru_cache(maxsize=1024)
def _grade(scale: str, grade: str, vocabulary: Vocabulary) -> Result:
    row = vocabulary.tables.scales[scale][grade]
    text = grade_text(scale, grade)
    coding = {
        "extension": [{"url": ORDINAL, "valueDecimal": fragment(row.ordinal)}],
        "system": vocabulary.urls.scale(scale),
        "code": grade,
        "display": row.label,
    }
    value = f'"valueCodeableConcept":{dump({"coding": [coding], "text": text})}'
    return Result(value)


@lru_cache(maxsize=64)
def _overall(outcome: str, vocabulary: Vocabulary) -> Result:
    codings = vocabulary.codings(f"outcome-{outcome}")
    text = vocabulary.tables.concepts[f"outcome-{outcome}"].display
    value = f'"valueCodeableConcept":{dump({"coding": codings, "text": text})}'
    return Result(value)
