"""One Observation per finding and side, as the modelling asks for it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.coding.coded import LOINC, OWN, SNOMED, Stamp, code, code_of, component
from tests.exam.builders import deg, end, grip, kg, move

DAR = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
LATERALITY = "http://hl7.org/fhir/StructureDefinition/observation-structureLaterality"
UCUM = "http://unitsofmeasure.org"
TENDER = {"kind": "palpation", "joint": "shoulder", "site": "ac-joint", "sign": "tenderness"}
TENDER |= {"side": "right", "present": True, "severity": Decimal("6.0")}


def leaf(finding, **more):
    return code(finding, **more).leaf("f0")


def extension(observation, name):
    found = [e for e in observation.get("extension", ()) if e["url"].endswith(name)]
    return found[0]["valueCodeableConcept"] if found else None


def test_obs_01_each_side_is_an_observation_of_category_exam():
    coded = code(move(150, side="both"))
    left, right = coded.leaf("f0/left"), coded.leaf("f0/right")
    assert left["id"] != right["id"]
    assert all(o["category"][0]["coding"][0]["code"] == "exam" for o in (left, right))


def test_obs_02_every_observation_has_what_a_reader_needs():
    encounter = {"identifier": {"system": "https://x.example.org/visit", "value": "V"}}
    coded = code(move(150), move(140, side="left"), TENDER, header={"encounter": encounter})
    wanted = {"identifier", "status", "category", "code", "subject", "encounter"}
    wanted |= {"effectiveDateTime", "issued", "performer", "bodySite"}
    for observation in coded.of("Observation"):
        assert wanted <= observation.keys()
        assert observation["code"]["text"]
        assert observation["effectiveDateTime"] == "2026-03-02T10:15:00+01:00"


def test_obs_04_quantities_are_ucum_with_the_digits_as_written():
    quantity = leaf(move(Decimal("12.50")))["valueQuantity"]
    assert str(quantity["value"]) == "12.50"
    assert (quantity["unit"], quantity["system"], quantity["code"]) == ("deg", UCUM, "deg")
    assert str(leaf(move(150))["valueQuantity"]["value"]) == "150"


@pytest.mark.parametrize("side", ["left", "right"])
def test_obs_05_the_side_is_in_words_in_body_site_and_in_the_extension(side):
    found = leaf(move(150, side=side))
    (laterality,) = found["bodySite"]["extension"]
    assert laterality["url"] == LATERALITY
    (coding,) = laterality["valueCodeableConcept"]["coding"]
    assert coding["display"].lower() == side
    assert found["bodySite"]["text"] == f"{side.capitalize()} shoulder"
    assert (
        found["code"]["text"] == f"{side.capitalize()} shoulder abduction, active range of motion"
    )


def test_obs_05_the_side_policy_decides_where_else_the_side_goes():
    both = leaf(move(150))
    site = leaf(move(150), side="site")
    coded = leaf(move(150), side="code")
    assert len(code_of(both["code"], LOINC)) == len(code_of(coded["code"], LOINC)) == 2
    assert len(code_of(site["code"], LOINC)) == 1
    assert code_of(site["bodySite"], SNOMED) == code_of(both["bodySite"], SNOMED)
    assert code_of(coded["bodySite"], SNOMED) != code_of(both["bodySite"], SNOMED)
    assert all(o["bodySite"]["extension"] for o in (both, site, coded))


def test_obs_06_own_concept_first_then_loinc_without_and_with_side():
    found = leaf(move(150))["code"]["coding"]
    assert [c["system"] for c in found] == [OWN, LOINC, LOINC]
    assert found[0]["code"] == "shoulder-abduction-rom-active"
    assert "right" in found[2]["display"]
    assert "right" not in found[1]["display"]


def test_obs_07_interpretation_and_reference_range_agree_and_name_the_set():
    found = leaf(move(30))
    (interpretation,) = found["interpretation"]
    assert interpretation["coding"][0]["code"] == "L"
    (shown,) = found["referenceRange"]
    assert found["valueQuantity"]["value"] < shown["low"]["value"] < shown["high"]["value"]
    assert "reference set 20" in shown["text"]
    assert shown["type"]["coding"][0]["code"] == "normal"


def test_obs_08_method_device_and_position_are_stated():
    found = leaf(move(150, method="goniometer", position="sitting"))
    assert code_of(found["method"], OWN) == ["method-goniometer"]
    assert code_of(extension(found, "observation-deviceCode"), OWN) == ["device-goniometer"]
    assert code_of(extension(found, "observation-bodyPosition"), OWN) == ["position-sitting"]


def test_obs_08_what_was_not_stated_names_no_instrument_and_is_marked():
    found = leaf(move(150))
    assert found["method"]["extension"][0]["valueBoolean"] is True
    assert extension(found, "observation-deviceCode") is None
    stated = leaf(move(150, method="angle-instrument-not-stated"))
    assert "extension" not in stated["method"]


def test_obs_09_arm_position_and_limits_are_components_in_order():
    found = leaf(move(40, motion="external-rotation", armPosition="at-side"))
    (arm,) = component(found, "arm-position")
    assert code_of(arm["valueCodeableConcept"], OWN) == ["arm-position-at-side"]
    assert found["code"]["text"].endswith("arm at the side")
    found = leaf(move(40, limitedBy=["stiffness", "pain"]))
    limits = [code_of(c["valueCodeableConcept"], OWN) for c in component(found, "limited-by")]
    assert limits == [["limited-by-stiffness"], ["limited-by-pain"]]


@pytest.mark.parametrize(
    ("reason", "because", "standard", "own"),
    [
        ("not-tested", "pain", "not-performed", "not-tested-pain"),
        ("declined", None, "asked-declined", "declined"),
        ("not-applicable", None, "not-applicable", "not-applicable"),
    ],
)
def test_exm_15_obs_12_absent_is_cancelled_with_both_reasons(reason, because, standard, own):
    absent = {"reason": reason} | ({"because": because} if because else {})
    found = leaf(move(absent=absent))
    assert found["status"] == "cancelled"
    assert code_of(found["dataAbsentReason"], DAR) == [standard]
    assert code_of(found["dataAbsentReason"], OWN) == [own]
    assert code_of(extension(found, "event-statusReason"), OWN) == [own]
    assert not [name for name in found if name.startswith("value")]
    assert ": " in found["code"]["text"]


def test_exm_15_not_examined_has_no_observation():
    coded = code(move(absent={"reason": "not-examined"}))
    assert coded.of("Observation") == []


def test_obs_13_a_grade_is_coded_with_its_ordinal():
    found = leaf(
        {"kind": "strength", "joint": "elbow", "test": "flexion", "side": "left"} | {"grade": "4+"}
    )
    (coding,) = found["valueCodeableConcept"]["coding"]
    assert coding["code"] == "4+"
    assert str(coding["extension"][0]["valueDecimal"]) == "4.33"
    assert found["valueCodeableConcept"]["text"] == "MRC 4+"
    assert found["code"]["text"] == "Left elbow flexion strength, MRC scale"


@pytest.mark.parametrize(
    ("word", "size", "value", "name", "text"),
    [
        ("short-of-straight", 20, "20", "extension-deficit-angle", "20 degrees short of straight"),
        ("beyond-straight", Decimal("5.0"), "-5.0", "hyperextension-angle", "5.0 degrees beyond"),
        ("straight", None, "0", None, "straight"),
    ],
)
def test_obs_14_the_end_of_extension_says_its_sign_three_times(word, size, value, name, text):
    found = leaf(end(word, size))
    assert str(found["valueQuantity"]["value"]) == value
    (axis,) = component(found, "axis-convention")
    assert code_of(axis["valueCodeableConcept"], OWN) == ["flexion-positive-neutral-zero"]
    for other in ("extension-deficit-angle", "hyperextension-angle"):
        parts = component(found, other)
        assert len(parts) == (other == name)
        if parts:
            assert str(parts[0]["valueQuantity"]["value"]) == value.lstrip("-")
    assert text in found["code"]["text"]


def test_msk_loinc_ext_an_extension_code_goes_out_only_when_straight():
    assert code_of(leaf(end("straight"))["code"], LOINC)
    assert not code_of(leaf(end("short-of-straight", 20))["code"], LOINC)
    assert not code_of(leaf(end("beyond-straight", 5))["code"], LOINC)


def test_obs_16_a_sign_is_yes_or_no_in_code_and_words_with_its_severity():
    found = leaf(TENDER)
    (coding,) = found["valueCodeableConcept"]["coding"]
    assert (coding["code"], found["valueCodeableConcept"]["text"]) == ("Y", "Tender")
    (severity,) = component(found, "severity")
    assert str(severity["valueQuantity"]["value"]) == "6.0"
    assert severity["valueQuantity"]["code"] == "{score}"
    assert found["code"]["text"] == "Tenderness over right acromioclavicular joint"
    absent = leaf({**TENDER, "present": False, "severity": 0})
    assert absent["valueCodeableConcept"]["coding"][0]["code"] == "N"


def test_a_sign_that_compares_sides_is_one_observation_about_both():
    sign = {"kind": "inspection", "joint": "shoulder", "site": "clavicle", "side": "both"}
    found = leaf(sign | {"sign": "contour-asymmetry", "present": False})
    laterality = found["bodySite"]["extension"][0]["valueCodeableConcept"]
    assert laterality["coding"][0]["display"] == "Right and left"
    assert found["bodySite"]["text"] == "Right and left clavicle"


def test_force_is_the_best_of_all_trials_and_keeps_every_trial_in_order():
    found = leaf(grip(Decimal("34.4"), 36, Decimal("35.90")))
    assert str(found["valueQuantity"]["value"]) == "36"
    trials = [str(c["valueQuantity"]["value"]) for c in component(found, "trial")]
    assert trials == ["34.4", "36", "35.90"]
    assert found["code"]["text"].endswith("best of 3 trials")


def test_trials_in_different_units_are_compared_in_one():
    found = leaf(grip() | {"trials": [*kg(30), *kg(60, unit="lb")]})
    assert found["valueQuantity"]["unit"] == "kgf"
    assert found["valueQuantity"]["value"] == 30


def test_a_whole_part_is_recorded_without_inventing_measurements():
    found = leaf(
        {"kind": "part", "joint": "wrist", "part": "palpation", "side": "left"}
        | {"outcome": "no-abnormality"}
    )
    assert code_of(found["valueCodeableConcept"], OWN) == ["outcome-no-abnormality"]
    assert found["code"]["text"] == "Left wrist, palpation as a whole"


def test_a_digit_is_in_the_words_and_in_the_own_site():
    finding = {"kind": "motion", "joint": "finger-pip", "digit": "middle", "motion": "flexion"}
    found = leaf(finding | {"side": "left", "mode": "active", "angle": deg(90)})
    assert found["bodySite"]["text"] == "Left middle finger PIP joint"
    assert code_of(found["bodySite"], OWN) == ["site-finger-pip-middle"]
    assert found["code"]["text"].startswith("Left middle finger PIP joint flexion")


def test_notes_leave_as_written():
    note = 'Says "ouch" \\ <b>\u00e4\n second line'
    assert leaf(move(150, note=note))["note"] == [{"text": note}]


def test_exm_14_a_draft_is_preliminary_and_what_was_not_tested_stays_cancelled():
    stamp = Stamp("2026-03-02T09:31:07.412Z", report_status="preliminary")
    coded = code(move(150), move(side="left", absent={"reason": "declined"}), stamp=stamp)
    assert coded.leaf("f0")["status"] == "preliminary"
    assert coded.leaf("f1")["status"] == "cancelled"
    assert [p["status"] for p in coded.panels] == ["preliminary"]
    assert coded.report["status"] == "preliminary"


def test_cor_03_statuses_of_leaves_carry_over_to_what_is_made_of_them():
    stamp = Stamp("2026-03-02T09:31:07.412Z", 2, "corrected", {"f0": "corrected"}, reason="typo")
    coded = code(move(150), move(140, side="left"), stamp=stamp)
    assert coded.leaf("f0")["status"] == "corrected"
    assert coded.leaf("f1")["status"] == "final"
    assert [o["status"] for o in (*coded.derived, *coded.panels)] == ["corrected", "corrected"]


def test_cor_02_a_withdrawn_exam_is_in_error_throughout():
    stamp = Stamp("2026-03-02T09:31:07.412Z", 2, "entered-in-error", reason="wrong patient")
    coded = code(
        move(150),
        move(140, side="left"),
        move(30, motion="flexion", absent=None),
        move(motion="extension", absent={"reason": "not-tested"}),
        stamp=stamp,
    )
    everything = (*coded.of("Observation"), coded.report)
    assert {one["status"] for one in everything} == {"entered-in-error"}
    assert "withdrawn" in coded.report["conclusion"]
    assert "wrong patient" in coded.report["conclusion"]


def test_obs_11_a_side_difference_is_derived_from_both_and_names_its_rule():
    coded = code(move(150), move(175, side="left"))
    (found,) = coded.derived
    sources = [s["reference"] for s in found["derivedFrom"]]
    assert sources == [f"Observation/{coded.leaf(key)['id']}" for key in ("f0", "f1")]
    assert found["valueQuantity"]["value"] == -25
    assert "side-difference/1.3" in found["method"]["text"]
    (ratio,) = component(found, "side-ratio")
    assert str(ratio["valueQuantity"]["value"]) == "85.7"
    (lesser,) = component(found, "lesser-side")
    assert lesser["valueCodeableConcept"]["coding"][0]["code"] == "side-right"
    assert "right 25 degrees less than left" in found["code"]["text"]
    assert found["interpretation"][0]["coding"][0]["code"] == "A"
    (bounds,) = found["referenceRange"]
    assert (bounds["low"]["value"], bounds["high"]["value"]) == (-10, 10)


def test_obs_10_every_leaf_is_in_exactly_one_panel_and_panels_have_no_value():
    coded = code(move(150), move(140, side="left"), TENDER, end("straight"), grip(30))
    members = [m["reference"] for panel in coded.panels for m in panel["hasMember"]]
    others = [o for o in coded.of("Observation") if "hasMember" not in o]
    assert sorted(members) == sorted(f"Observation/{o['id']}" for o in others)
    assert len(coded.panels) == 3
    for panel in coded.panels:
        assert not [name for name in panel if name.startswith("value")]
    results = [r["reference"] for r in coded.report["result"]]
    assert results == [f"Observation/{p['id']}" for p in coded.panels]


def test_exm_12_a_converted_value_keeps_the_posted_one_beside_it():
    from tests.coding.coded import code_exam
    from tests.exam.builders import exam, read

    posted = exam(move() | {"angle": {"value": Decimal("2.618"), "unit": "rad"}})
    examined = read(posted, convert_units=True)
    found = code_exam(examined.exam).leaf("f0")
    assert found["valueQuantity"]["code"] == "deg"
    (original,) = component(found, "original-quantity")
    assert str(original["valueQuantity"]["value"]) == "2.618"
    assert original["valueQuantity"]["code"] == "rad"


def test_references_have_the_byte_form_that_bundle_writers_look_for():
    coded = code(move(150), move(140, side="left"))
    for resource in coded.encoded.resources:
        text = resource.body.decode()
        assert text.count('"reference":') == text.count('"reference":"')
        assert '"reference": ' not in text


def test_bnd_05_the_same_exam_gives_the_same_bytes():
    first, second = (code(move(150), TENDER).encoded for _ in range(2))
    assert first == second
