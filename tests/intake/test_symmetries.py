"""What must not change what: sides, order, units and normal findings, through the whole service.

Examples go through everything that a posted exam goes through, and the answer is compared.
"""

from __future__ import annotations

import json
import random
from decimal import Decimal
from functools import cache
from typing import Any

import jiter
import orjson
import pytest
from tests.coding.coded import tables
from tests.examples.golden import EXAMS
from tests.intake.desks import intake

from brachium.intake.receipt import Outcome

Json = dict[str, Any]
OTHER = {"left": "right", "right": "left"}
# Published figures that are not symmetrical: right-handers alone are corrected for dominance, and
# norms of force are printed for each side.
RIGHT_HANDED = "computed/force-dominance-corrected/"
SIDED = frozenset({"force-z-score", "force-percentile"})
every_example = pytest.mark.parametrize("path", EXAMS, ids=lambda path: path.stem)


def read(path) -> Json:
    return jiter.from_json(path.read_bytes(), float_mode="decimal")


def raw(content: Json) -> bytes:
    return orjson.dumps(content, default=lambda value: orjson.Fragment(f"{value:f}"))


@cache
def desk():
    return intake()


def preview(content: Json):
    receipt = desk().dry_run(raw(content))
    assert receipt.outcome is Outcome.PREVIEW, [
        (one.code, one.pointer, one.message)
        for one in receipt.problems
        if one.severity.value == "error"
    ]
    return receipt


def told(content: Json) -> Json:
    return json.loads(preview(content).exam.assessment, parse_float=Decimal)


def judged(content: Json) -> dict[tuple[str, str], Json]:
    return {(one["kind"], one["key"]): one for one in told(content)["judged"]}


def mirrored(content: Json) -> Json:
    """The same person in a mirror."""
    patient = content["patient"]
    hand = patient["dominantHand"]
    findings = [{**one, "side": OTHER.get(one["side"], one["side"])} for one in content["findings"]]
    return {
        **content,
        "patient": {**patient, "dominantHand": OTHER.get(hand, hand)},
        "findings": findings,
    }


def symmetrical(found: dict[tuple[str, str], Json]) -> dict[tuple[str, str], Json]:
    return {key: one for key, one in found.items() if not key[1].startswith(RIGHT_HANDED)}


def in_a_mirror(key: str) -> str:
    return "/".join(OTHER.get(word, word) for word in key.split("/"))


def same_in_a_mirror(one: Json, other: Json) -> None:
    assert one["flagged"] == other["flagged"], (one["sentence"], other["sentence"])
    assert one.get("interpretation") == other.get("interpretation")
    keys = {in_a_mirror(used["finding"]) for used in one["used"]}
    assert keys == {used["finding"] for used in other["used"]}
    if one["kind"] != "computed" and one["kind"] != "difference":
        return
    assert len(one.get("missing", ())) == len(other.get("missing", ()))
    value, counterpart = one["value"], other["value"]
    # what compares the sides is right minus left, or a share of the stronger side
    if one["kind"] == "difference" or "difference" in one["key"]:
        assert value is None or abs(value) == abs(counterpart)
    else:
        assert value == counterpart
        assert [word["word"] for word in one.get("gradings", ())] == [
            word["word"] for word in other.get("gradings", ())
        ]


@every_example
def test_obs_05_in_a_mirror_everything_changes_sides(path):
    content = read(path)
    before, after = (symmetrical(judged(some)) for some in (content, mirrored(content)))
    assert {(kind, in_a_mirror(key)) for kind, key in before} == set(after)
    for (kind, key), one in before.items():
        if any(name in key for name in SIDED):
            continue
        same_in_a_mirror(one, after[kind, in_a_mirror(key)])


@every_example
def test_obs_05_in_a_mirror_every_observation_keeps_its_value(path):
    content = read(path)
    before, after = (
        {key: one for key, one in observations(some).items() if RIGHT_HANDED not in key}
        for some in (content, mirrored(content))
    )
    assert {in_a_mirror(key) for key in before} == set(after)
    for key, one in before.items():
        if any(name in key for name in SIDED) or "difference" in key:
            continue
        for member in ("valueQuantity", "valueCodeableConcept", "status", "interpretation"):
            other = after[in_a_mirror(key)]
            assert one.get(member) == other.get(member), key


def observations(content: Json) -> dict[str, Json]:
    found = {}
    for row in preview(content).resources:
        if row.type == "Observation":
            one = json.loads(row.text, parse_float=Decimal)
            found[one["identifier"][0]["value"].partition("/")[2]] = one
    return found


@every_example
def test_exm_03_the_order_of_findings_never_matters(path):
    content = read(path)
    shuffled = {**content, "findings": list(content["findings"])}
    random.Random(path.stem).shuffle(shuffled["findings"])
    one, other = preview(content), preview(shuffled)
    assert one.exam.assessment == other.exam.assessment
    assert one.exam.digest == other.exam.digest
    before, after = (
        {key: bare(value) for key, value in observations(some).items()}
        for some in (content, shuffled)
    )
    assert before == after
    assert account(one) == account(other)


def bare(observation: Json) -> Json:
    """An Observation without its moment, whose lists of references have no order."""
    lists = {
        name: sorted(one["reference"] for one in observation[name])
        for name in ("hasMember", "derivedFrom")
        if name in observation
    }
    timeless = {name: one for name, one in observation.items() if name not in ("meta", "issued")}
    return {**timeless, **lists}


def account(receipt) -> str:
    report = next(row for row in receipt.resources if row.type == "DiagnosticReport")
    return json.loads(report.text)["text"]["div"]


def in_other_units(content: Json) -> Json:
    """The same lengths in millimetres, the same forces in pounds."""
    return {**content, "findings": [_converted(one) for one in content["findings"]]}


def _converted(one: Json) -> Json:
    changed = dict(one)
    if "distance" in one:
        changed["distance"] = _in("mm", one["distance"])
    if "trials" in one:
        changed["trials"] = [_in("lb", trial) for trial in one["trials"]]
    return changed


def _in(unit: str, quantity: Json) -> Json:
    rows = tables().units
    value = Decimal(quantity["value"]) * rows[quantity["unit"]].factor / rows[unit].factor
    step = Decimal("0.1") if unit == "mm" else Decimal("0.00001")
    return {"value": value.quantize(step).normalize() + 0, "unit": unit}


@every_example
def test_exm_12_the_unit_of_entry_never_changes_a_judgement(path):
    content = read(path)
    before, after = judged(content), judged(in_other_units(content))
    assert set(before) == set(after)
    for key, one in before.items():
        assert one["flagged"] == after[key]["flagged"], key
        assert one.get("interpretation") == after[key].get("interpretation"), key
        if one.get("value") is not None and one["kind"] != "range":
            apart = abs(Decimal(one["value"]) - Decimal(after[key]["value"]))
            assert apart <= Decimal("0.11"), (key, one["value"], after[key]["value"])


@cache
def normal_findings() -> tuple[Json, ...]:
    """Findings that were judged normal, or about which nothing was said."""
    content = read(next(path for path in EXAMS if path.stem == "healthy-adult"))
    striking = {
        used["finding"].partition("/")[0]
        for one in judged(content).values()
        if one["flagged"]
        for used in one["used"]
    }
    return tuple(one for one in content["findings"] if one["key"] not in striking)


def question(one: Json) -> tuple[Any, ...]:
    words = ("kind", "joint", "digit", "motion", "mode", "site", "sign", "test", "part")
    return tuple(one.get(word) for word in words)


@every_example
def test_adding_a_normal_finding_never_worsens_a_judgement_elsewhere(path):
    content = read(path)
    asked = {question(one) for one in content["findings"]}
    whole = {(one["joint"], one["part"]) for one in content["findings"] if one["kind"] == "part"}
    pick = random.Random(path.stem)
    spare = [
        {**one, "key": f"extra-{number}"}
        for number, one in enumerate(normal_findings())
        if question(one) not in asked and one["joint"] not in {joint for joint, _ in whole}
    ]
    before = judged(content)
    for one in pick.sample(spare, min(len(spare), 6)):
        receipt = desk().dry_run(raw({**content, "findings": [*content["findings"], one]}))
        if receipt.outcome is not Outcome.PREVIEW:
            continue  # it contradicts what was found
        after = {
            (entry["kind"], entry["key"]): entry
            for entry in json.loads(receipt.exam.assessment)["judged"]
        }
        assert set(before) <= set(after)
        for key, entry in before.items():
            if not entry.get("missing"):
                assert after[key]["flagged"] <= entry["flagged"], (key, one)
            assert len(after[key].get("missing", ())) <= len(entry.get("missing", ())), (key, one)
