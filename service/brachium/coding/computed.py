"""Observations of what was worked out from findings: arcs, sums, scores, lags (OBS-11)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from brachium.assess.options import MEMORY
from brachium.coding import words
from brachium.coding.derived import Compared, joined_status, reference
from brachium.coding.fhir import INTERPRETATION, UCUM
from brachium.coding.jsontext import dump, fragment, inside, number
from brachium.coding.sites import body_site
from brachium.coding.templates import category
from brachium.tables.concepts import method_concept

if TYPE_CHECKING:
    from decimal import Decimal

    from brachium.assess.derived import Derived, Grading
    from brachium.coding.frame import Frame
    from brachium.coding.observation import Said
    from brachium.coding.vocabulary import Vocabulary

GRADING = "grading"
# a plain number is counted in the unity of UCUM
_PLAIN = f'"unit":"1","system":"{UCUM}","code":"1"}}'


class _Static(NamedTuple):
    head: str
    tail: str


def goes_out(derived: Derived, vocabulary: Vocabulary) -> bool:
    """Tell whether a computation gets an Observation: it has a value, and its row says so."""
    return derived.value is not None and vocabulary.tables.computations[derived.name].exported


def computed(
    derived: Derived, said: Mapping[str, Said], vocabulary: Vocabulary, frame: Frame
) -> Compared:
    """Return the Observation of a computed value; its status follows its sources (COR-03).

    ``derived`` has a value (ValueError otherwise), ``said`` holds the coded leaves by key. What
    would be about both sides and was worked out from one of them goes out for that side.
    """
    if derived.value is None:
        raise ValueError(f"{derived.key} has no value")
    sources = [said[used.leaf] for used in derived.used]
    sides = {one.leaf.side for one in sources}
    static = _static(
        vocabulary,
        derived.name,
        derived.joint,
        derived.digit,
        sides.pop() if len(sides) == 1 else derived.side,
        derived.qualifier,
        derived.rule,
        derived.evidence,
    )
    status = frame.stamp.statuses.get(derived.key)
    if status is None:
        status = joined_status([one.status for one in sources])
    value = number(derived.value)
    listed = ",".join(dict.fromkeys(reference(one.resource) for one in sources))
    rest = (
        f',"valueQuantity":{{"value":{value},{_compared(derived)}'
        f"{_unit(vocabulary, derived.unit)}"
        f'{_judged(vocabulary, derived)},"note":[{{"text":{dump(derived.statement)}}}],'
        f'"derivedFrom":[{listed}]{_components(vocabulary, derived.gradings)}'
    )
    amount = f"{inside(derived.comparator)}{value}"
    if derived.unit:
        amount += f" {vocabulary.tables.units[derived.unit].label}"
    resource = frame.observation(derived.key, status, static.head, amount, static.tail, rest)
    return Compared(derived.joint, resource, status)


@lru_cache(maxsize=8192)
def _static(
    vocabulary: Vocabulary,
    name: str,
    joint: str,
    digit: str,
    side: str,
    qualifier: str,
    rule: str,
    evidence: str,
) -> _Static:
    tables = vocabulary.tables
    codings = vocabulary.codings(name, side)
    site = body_site(vocabulary, joint, "", "", digit, side)
    where = f"{words.SIDES[side]} {words.place(tables, joint, '', '', digit)}"
    detail = f" ({qualifier.replace('-', ' ')})" if qualifier else ""
    text = words.capital(f"{where}, {tables.computations[name].phrase}{detail}")
    return _Static(
        f'{category(vocabulary)},"code":{{"coding":{dump(codings)},"text":"{inside(text)}: ',
        f'"}},"bodySite":{site.text},"method":{dump(_method(vocabulary, rule, evidence))}',
    )


def _method(vocabulary: Vocabulary, rule: str, evidence: str) -> dict[str, Any]:
    doubt = ", with figures that nobody has read in print" if evidence == MEMORY else ""
    return {
        "coding": vocabulary.codings(method_concept("calculated")),
        "text": f"Calculated by the service, rule {rule}{doubt}",
    }


def _compared(derived: Derived) -> str:
    return f'"comparator":{dump(derived.comparator)},' if derived.comparator else ""


def _unit(vocabulary: Vocabulary, unit: str) -> str:
    """Return the end of a Quantity after its value, the closing brace included."""
    return vocabulary.units[unit] if unit else _PLAIN


def _judged(vocabulary: Vocabulary, derived: Derived) -> str:
    if derived.interpretation is None and derived.low is None and derived.high is None:
        return ""
    schemes = tuple(grading.scheme for grading in derived.gradings)
    return _range(
        vocabulary,
        derived.interpretation,
        derived.low,
        derived.high,
        derived.unit,
        f"{'; '.join((*schemes, *derived.sources))} (evidence: {derived.evidence}); reference set "
        f"{vocabulary.tables.edition}, rule {derived.rule}",
    )


@lru_cache(maxsize=4096)
def _range(
    vocabulary: Vocabulary,
    interpretation: str | None,
    low: Decimal | None,
    high: Decimal | None,
    unit: str,
    text: str,
) -> str:
    """Return interpretation and referenceRange (OBS-07), each with a comma in front."""
    said = ""
    if interpretation is not None:
        coding = vocabulary.standard(INTERPRETATION, interpretation)
        said = f',"interpretation":[{dump({"coding": [coding]})}]'
    row = vocabulary.tables.units.get(unit)
    label, code = ("1", "1") if row is None else (row.label, row.ucum)
    bounds: dict[str, Any] = {
        name: {"value": fragment(value), "unit": label, "system": UCUM, "code": code}
        for name, value in (("low", low), ("high", high))
        if value is not None
    }
    return f'{said},"referenceRange":[{dump({**bounds, "text": text})}]'


@lru_cache(maxsize=4096)
def _components(vocabulary: Vocabulary, gradings: tuple[Grading, ...]) -> str:
    """Return what published schemes call the value: a word means nothing without it."""
    if not gradings:
        return ""
    coded = vocabulary.codings(GRADING)
    parts = [
        {
            "code": {"coding": coded, "text": one.scheme},
            "valueCodeableConcept": {"text": f"{one.word} (source: {one.source})"},
        }
        for one in gradings
    ]
    return f',"component":{dump(parts)}'
