"""Observations of what was worked out (OBS-11): code, side, gradings, doubt."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.coding.coded import CANONICAL, OWN, code, code_of, component, tables
from tests.exam.builders import end, exam, grip, move, to_json

from brachium.assess.assessment import assess
from brachium.assess.options import AssessOptions
from brachium.coding.decode import decode
from brachium.coding.encode import encode
from brachium.coding.options import CodingOptions, Stamp
from brachium.exam.leaves import leaves
from brachium.exam.reading import examine
from brachium.exam.rule import ModelOptions
from brachium.formats.lossless import parse


def elbow(flexion=130, side="right", **short):
    return [
        move(flexion, joint="elbow", motion="flexion", side=side),
        end("short-of-straight", 20, side=side) if not short else end(**short, side=side),
    ]


def finger(side="right", mode="active"):
    """All that the sum of one digit needs."""
    more = {"side": side, "mode": mode, "digit": "middle"}
    for joint in ("finger-mcp", "finger-pip", "finger-dip"):
        yield move(80, joint=joint, motion="flexion", **more)
        yield end("straight", joint=joint, **more)


def computed(coded, name):
    found = [one for one in coded.derived if name in code_of(one["code"], OWN)]
    assert len(found) == 1, (name, len(found))
    return found[0]


def test_obs_05_the_side_is_in_the_words_and_in_the_body_site():
    arc = computed(code(*elbow(side="left")), "arc-of-motion")
    assert arc["code"]["text"].startswith("Left elbow, arc of motion")
    assert arc["code"]["text"].endswith(": 110 deg")
    assert arc["bodySite"]["text"] == "Left elbow"
    assert code_of(arc["bodySite"], OWN) == ["site-elbow"]


def test_obs_11_neutral_zero_stands_in_the_note():
    arc = computed(code(*elbow()), "arc-of-motion")
    assert "extension/flexion 0/20/130" in arc["note"][0]["text"]


def test_neg_06_digits_are_kept_and_there_is_no_exponent():
    arc = computed(code(*elbow(Decimal("130.50"))), "arc-of-motion")
    assert arc["valueQuantity"]["value"] == Decimal("110.5")


def test_obs_11_gradings_are_components_in_words_each_with_its_scheme_and_source():
    total = computed(code(*finger()), "total-active-motion")
    assert total["valueQuantity"]["value"] == 240
    words = {
        part["code"]["text"]: part["valueCodeableConcept"]["text"]
        for part in component(total, "grading")
    }
    assert words == {
        "ASSH": "good (source: ASSH_TAM)",
        "Eaton": "excellent (source: EATON_EHAND)",
    }
    assert total["bodySite"]["text"].startswith("Right middle finger")


def test_what_could_not_be_worked_out_is_no_observation():
    coded = code(*elbow()[:1], move(motion="extension", joint="elbow", absent=NOT_TESTED))
    assert [one.name for one in coded.assessment.computed] == ["arc-of-motion", "functional-window"]
    assert all(one.missing for one in coded.assessment.computed)
    assert coded.derived == []


NOT_TESTED = {"reason": "not-tested", "because": "pain"}


def test_what_only_one_of_both_sides_gave_goes_out_for_that_side():
    old = {"patient": {"birthDate": "1940-01-01"}}
    unfit = grip(20, side="left", limitedBy=["pain"])
    coded = code(grip(30, 31, 32), unfit, header=old)
    low = computed(coded, "low-force")
    assert len(low["derivedFrom"]) == 1
    assert low["bodySite"]["text"] == "Right hand"
    assert low["code"]["text"].startswith("Right hand")


def test_a_value_that_is_only_known_to_lie_below_has_a_comparator():
    coded = code(grip(3, 3, 3))
    found = computed(coded, "force-percentile")
    assert found["valueQuantity"]["comparator"] == "<"
    assert "<" in found["code"]["text"]
    assert code_of(found["interpretation"][0], INTERPRETATION) == ["L"]


INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"


def test_obs_07_the_range_names_source_edition_and_rule():
    found = computed(code(grip(30, 31, 32)), "force-z-score")
    text = found["referenceRange"][0]["text"]
    for wanted in ("MATHIOWETZ_1985", f"reference set {tables().edition}", "rule force-z-score/"):
        assert wanted in text
    assert found["valueQuantity"]["code"] == "1"


def remembered(*findings):
    read = examine(to_json(exam(*findings)), tables(), ModelOptions())
    assert read.exam is not None, read.problems
    found = leaves(read.exam, tables())
    judged = assess(read.exam, found, tables(), AssessOptions(memory_references=True))
    made = encode(
        read.exam,
        found,
        judged,
        tables(),
        CodingOptions(CANONICAL, "9"),
        Stamp("2026-03-02T09:31:07Z"),
    )
    return [parse(one.body) for one in made.resources if one.type == "Observation"]


def test_what_was_made_with_figures_from_memory_says_so():
    told = remembered(*finger())
    doubted = [
        one for one in told if "nobody has read in print" in one.get("method", {}).get("text", "")
    ]
    assert doubted
    assert all("memory" in one["note"][0]["text"] for one in doubted)
    assert not [
        one for one in code(*finger()).derived if "nobody has read" in one["method"]["text"]
    ]


def test_decoding_leaves_computed_values_out():
    coded = code(*elbow(), *finger(), grip(30, 31, 32))
    back = decode(coded.bundle, tables(), CANONICAL).exam
    assert len(back["findings"]) == len(coded.exam.findings)


@pytest.mark.parametrize(
    "row", list(tables().computations.values()), ids=lambda row: row.computation
)
def test_trm_01_every_computation_is_a_concept_of_our_own(row):
    concept = tables().concepts[row.computation]
    assert concept.kind == "computation"
    assert row.rule in concept.definition
