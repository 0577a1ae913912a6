"""Observations made of others: side differences (OBS-11) and panels (OBS-10)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from brachium.assess.errors import Allowance
from brachium.assess.sides import NEITHER_NORMAL, SideDifference
from brachium.coding import words
from brachium.coding.fhir import INTERPRETATION, UCUM
from brachium.coding.frame import Frame
from brachium.coding.jsontext import dump, fragment, inside, number
from brachium.coding.observation import Said
from brachium.coding.results import coded_component, component_of
from brachium.coding.sites import body_site
from brachium.coding.templates import category
from brachium.coding.vocabulary import Vocabulary
from brachium.records import Resource
from brachium.tables.concepts import (
    in_text,
    method_concept,
    motion_concept,
    option_concept,
    panel_concept,
    side_difference_concept,
)


class Compared(NamedTuple):
    """A coded side difference or computed value."""

    joint: str
    resource: Resource
    status: str


class _Static(NamedTuple):
    head: str
    tail: str


def joined_status(statuses: Iterable[str]) -> str:
    """Return the status of something made of others: it is as unsettled as its least settled."""
    found = set(statuses)
    if found == {"entered-in-error"}:
        return "entered-in-error"
    order = ("preliminary", "corrected", "amended")
    return next((status for status in order if status in found), "final")


def side_difference(
    difference: SideDifference, said: Mapping[str, Said], vocabulary: Vocabulary, frame: Frame
) -> Compared:
    """Return the Observation of right minus left; its status follows its sources (COR-03)."""
    what = difference.what
    static = _difference_static(
        vocabulary, what.joint, what.motion, what.mode, what.digit, what.arm_position
    )
    right, left = (said[key] for key in difference.sources)
    status = frame.stamp.statuses.get(difference.key, joined_status((right.status, left.status)))
    compared = _compared(difference)
    value = f'"valueQuantity":{{"value":{number(difference.value)},{_DEG}}}'
    sources = f"{reference(right.resource)},{reference(left.resource)}"
    rest = (
        f"{_method(vocabulary, difference.rule)},{value}"
        f"{_judged(vocabulary, difference.flagged, difference.threshold, difference.rule)}"
        f',"derivedFrom":[{sources}]{_components(difference, vocabulary)}'
    )
    resource = frame.observation(difference.key, status, static.head, compared, static.tail, rest)
    return Compared(what.joint, resource, status)


_DEG = f'"unit":"deg","system":"{UCUM}","code":"deg"'


@lru_cache(maxsize=4096)
def _difference_static(
    vocabulary: Vocabulary, joint: str, motion: str, mode: str, digit: str, arm: str
) -> _Static:
    row = vocabulary.tables.motions[joint, motion]
    codings = vocabulary.codings(side_difference_concept(motion_concept(row, mode)))
    site = body_site(vocabulary, joint, "", "", digit, "both")
    name = words.motion(vocabulary.tables, row, mode, digit, arm, "Right and left")
    return _Static(
        f'{category(vocabulary)},"code":{{"coding":{dump(codings)},"text":"{inside(name)}: ',
        f'"}},"bodySite":{site.text}',
    )


def _compared(difference: SideDifference) -> str:
    neither = f"; {NEITHER_NORMAL}" if difference.both_outside else ""
    return f"{_more_or_less(difference)}{neither}"


def _more_or_less(difference: SideDifference) -> str:
    if not difference.value:
        return "equal on both sides"
    size = f"{number(abs(difference.value))} degrees"
    if difference.ends:
        # more or less would be read of the motion, of which the larger value is less
        return f"right ends {size} {'short of' if difference.value > 0 else 'beyond'} left"
    return f"right {size} {'less' if difference.lesser == 'right' else 'more'} than left"


@lru_cache(maxsize=64)
def _method(vocabulary: Vocabulary, rule: str) -> str:
    coded = {
        "coding": vocabulary.codings(method_concept("calculated")),
        "text": f"Calculated by the service, rule {rule}",
    }
    return f',"method":{dump(coded)}'


@lru_cache(maxsize=1024)
def _judged(
    vocabulary: Vocabulary, flagged: bool | None, threshold: Allowance | None, rule: str
) -> str:
    if flagged is None or threshold is None:
        return ""
    coding = vocabulary.standard(INTERPRETATION, "A" if flagged else "N")
    bounds: dict[str, Any] = {
        name: {"value": fragment(value), "unit": "deg", "system": UCUM, "code": "deg"}
        for name, value in (("low", -threshold.value), ("high", threshold.value))
    }
    bounds["text"] = (
        f"Threshold of a side difference: measurement error ({threshold.text}); own "
        f"convention of this service, reference set {vocabulary.tables.edition}, rule {rule}"
    )
    return f',"interpretation":[{dump({"coding": [coding]})}],"referenceRange":[{dump(bounds)}]'


def _components(difference: SideDifference, vocabulary: Vocabulary) -> str:
    parts = []
    if difference.ratio is not None:
        ratio = number(difference.ratio)
        value = f'"valueQuantity":{{"value":{ratio},"unit":"%","system":"{UCUM}","code":"%"}}'
        parts.append(component_of(vocabulary, "side-ratio", value))
    if difference.lesser:
        parts.append(coded_component(vocabulary, "lesser-side", f"side-{difference.lesser}"))
    if arm := difference.what.arm_position:
        concept = option_concept("arm-position", arm)
        parts.append(coded_component(vocabulary, "arm-position", concept))
    return f',"component":[{",".join(parts)}]' if parts else ""


def panel(
    joint: str, members: Sequence[tuple[Resource, str]], vocabulary: Vocabulary, frame: Frame
) -> tuple[Resource, str]:
    """Return the panel of a joint and its status; ``members`` are resources with statuses."""
    key = f"panel/{joint}"
    static = _panel_static(vocabulary, joint)
    # a finding that was not tested says nothing about how settled the panel is
    settled = [status for _, status in members if status != "cancelled"]
    status = frame.status(key)
    if key not in frame.stamp.statuses and status == "final":
        status = joined_status(settled)
    listed = '"},{"reference":"Observation/'.join([resource.id for resource, _ in members])
    rest = f',"hasMember":[{{"reference":"Observation/{listed}"}}]'
    return frame.observation(key, status, static.head, static.tail, rest), status


@lru_cache(maxsize=256)
def _panel_static(vocabulary: Vocabulary, joint: str) -> _Static:
    concept = panel_concept(joint)
    codings = vocabulary.codings(concept)
    site = body_site(vocabulary, joint, "", "", "", "both")
    label = vocabulary.tables.joints[joint]
    text = words.capital(f"{in_text(label.plural)}, examination of both sides")
    return _Static(
        f'{category(vocabulary)},"code":{{"coding":{dump(codings)},"text":"{inside(text)}',
        f'"}},"bodySite":{site.text}',
    )


def reference(resource: Resource) -> str:
    """Return a relative Reference; writers of bundles rewrite exactly this form."""
    return f'{{"reference":"{resource.type}/{resource.id}"}}'
