"""The shipped tables hold what the job needs, and nothing that must not go out."""

from __future__ import annotations

import csv
import re
from collections import Counter
from decimal import Decimal

import pytest
import ucumvert

from brachium.tables.check import faults
from brachium.tables.code_checks import check_digit_holds
from brachium.tables.concepts import (
    PARTS,
    absence_concept,
    concepts,
    in_text,
    motion_concept,
    panel_concept,
    part_concept,
    sign_concept,
    site_concept,
    strength_concept,
)
from brachium.tables.load import Tables, load
from brachium.tables.source import TABLES, default_directory

FINGERS = ("index", "middle", "ring", "little")
ENDS_STRAIGHT = {"elbow", "finger-mcp", "finger-pip", "finger-dip", "thumb-mcp", "thumb-ip"}
JOINTS = {
    *("shoulder", "elbow", "forearm", "wrist", "hand"),
    *("finger-mcp", "finger-pip", "finger-dip", "thumb-cmc", "thumb-mcp", "thumb-ip"),
}
LOOKED_AT = {
    "contour-asymmetry",
    "deformity",
    "bruising",
    "redness",
    "swelling",
    "wasting",
    "scar",
    "wound",
}
FELT = {"tenderness", "swelling", "effusion", "deformity", "warmth", "crepitus"}
MOTIONS = {
    "shoulder": "flexion extension abduction adduction horizontal-adduction internal-rotation "
    "external-rotation thumb-behind-back thumb-to-opposite-shoulder-blade hand-behind-head "
    "c7-to-thumb",
    "elbow": "flexion extension",
    "forearm": "pronation supination",
    "wrist": "flexion extension radial-deviation ulnar-deviation",
    "hand": "fist pulp-to-palm",
    "finger-mcp": "flexion extension",
    "finger-pip": "flexion extension",
    "finger-dip": "flexion extension",
    "thumb-cmc": "palmar-abduction radial-abduction flexion extension opposition",
    "thumb-mcp": "flexion extension",
    "thumb-ip": "flexion extension",
}
PALPATED = {
    "shoulder": "scapula scapular-spine acromion ac-joint sc-joint clavicle bicipital-groove "
    "greater-tuberosity",
    "elbow": "medial-epicondyle lateral-epicondyle olecranon radial-head",
    "wrist": "distal-radius distal-ulna snuffbox scaphoid",
    "hand": "cmc-joint",
    "finger-mcp": "mcp-joint",
    "finger-pip": "pip-joint",
    "finger-dip": "dip-joint",
    "thumb-cmc": "cmc-joint",
}
INSPECTED = {
    "shoulder": "clavicle acromion humerus-contour",
    "elbow": "elbow-region",
    "wrist": "wrist-region",
    "hand": "hand-region whole-digit",
}
TESTS = {
    "shoulder": "shrug flexion extension abduction internal-rotation external-rotation",
    "elbow": "flexion extension",
    "forearm": "pronation supination",
    "wrist": "flexion extension",
    "finger-mcp": "flexion extension abduction",
    "thumb-cmc": "palmar-abduction opposition",
    "hand": "grip tip-pinch key-pinch palmar-pinch",
}
LOW_CONFIDENCE = {"299407001", "17211005", "32750006", "113237008", "65316004", "80322-1"}


@pytest.fixture(scope="module")
def tables() -> Tables:
    return load()


def listed(words: dict[str, str]) -> list[tuple[str, str]]:
    return [(joint, word) for joint, some in words.items() for word in some.split()]


def test_the_shipped_tables_have_no_fault():
    assert faults() == []


def test_every_table_names_edition_date_licence_reviewer_and_source(tables):
    for table in TABLES:
        head = (default_directory() / table.path).read_text(encoding="utf-8").split("\n")[:6]
        assert [line.split(":")[0] for line in head[1:]] == [
            "# edition",
            "# date",
            "# licence",
            "# reviewer",
            "# source",
        ], table.path
        assert head[1] == f"# edition: {tables.edition}"


def test_all_joints_and_their_four_parts(tables):
    assert set(tables.joints) == JOINTS
    have = Counter((joint, part) for joint, part, _ in tables.sites)
    have.update((joint, "motion") for joint, _ in tables.motions)
    have.update((joint, "strength") for joint, _ in tables.strength)
    assert set(have) == {(joint, part) for joint in JOINTS for part in PARTS}


@pytest.mark.parametrize(("joint", "motion"), listed(MOTIONS))
def test_motion_is_there(tables, joint, motion):
    row = tables.motions[joint, motion]
    assert row.measure == "grade" or row.units
    assert "active" in row.modes


@pytest.mark.parametrize(("joint", "site"), listed(PALPATED))
def test_place_is_felt_for_tenderness(tables, joint, site):
    row = tables.sites[joint, "palpation", site]
    assert {"tenderness", "swelling"} <= set(row.signs)


@pytest.mark.parametrize(("joint", "site"), listed(INSPECTED))
def test_place_is_looked_at(tables, joint, site):
    assert {"contour-asymmetry", "deformity", "bruising", "redness"} <= set(
        tables.sites[joint, "inspection", site].signs
    )


@pytest.mark.parametrize(("joint", "test"), listed(TESTS))
def test_strength_test_is_there(tables, joint, test):
    row = tables.strength[joint, test]
    assert (row.scale, row.units) in {("mrc-grade", ()), ("", ("kg", "lb", "N"))}
    assert (row.measure == "force") == (joint == "hand")


def test_signs(tables):
    assert {sign for part, sign in tables.signs if part == "inspection"} == LOOKED_AT
    assert {sign for part, sign in tables.signs if part == "palpation"} == FELT
    assert tables.signs["palpation", "tenderness"].rated
    assert [key for key, row in tables.signs.items() if row.paired] == [
        ("inspection", "contour-asymmetry")
    ]


def test_joints_that_end_straight_record_extension_as_an_end(tables):
    ends = {joint for (joint, _), row in tables.motions.items() if row.measure == "end"}
    assert ends == ENDS_STRAIGHT


def test_rotations_ask_for_the_arm_position(tables):
    asked = {key for key, row in tables.motions.items() if row.arm_positions}
    assert asked == {("shoulder", "internal-rotation"), ("shoulder", "external-rotation")}
    assert tables.motions["shoulder", "internal-rotation"].arm_positions == (
        "at-side",
        "abducted-90",
    )


def test_fingers_are_asked_for_at_finger_joints(tables):
    for joint in ("finger-mcp", "finger-pip", "finger-dip"):
        assert tables.joints[joint].digits == FINGERS
    assert tables.motions["hand", "pulp-to-palm"].digits == FINGERS
    assert tables.joints["thumb-ip"].digits == ()


def test_exm_09_grades_of_strength(tables):
    grades = {grade: row.ordinal for grade, row in tables.scales["mrc-grade"].items()}
    assert list(grades) == ["0", "1", "2", "3-", "3", "3+", "4-", "4", "4+", "5-", "5"]
    assert sorted(grades.values()) == list(grades.values())
    assert grades["4+"] == Decimal("4.33")
    stepped = {grade for grade, row in tables.scales["mrc-grade"].items() if row.step != "plain"}
    assert stepped == {"3-", "3+", "4-", "4+", "5-"}
    assert {tables.scales["mrc-grade"][grade].source for grade in stepped} == {"OWN_PROPOSAL"}


def test_scales_have_rising_ordinals_and_reaches_are_whole(tables):
    for grades in tables.scales.values():
        ordinals = [grade.ordinal for grade in grades.values()]
        assert ordinals == sorted(set(ordinals))
    assert list(tables.scales["opposition-station"]) == [str(n) for n in range(11)]
    levels = tables.scales["vertebral-level"]
    assert levels["L1"].ordinal - levels["T7"].ordinal == 6


def test_exm_08_limits_are_own_proposals(tables):
    rows = [row for some in tables.limits.values() for row in some]
    assert {(row.source, row.evidence) for row in rows} == {("OWN_PROPOSAL", "own")}


@pytest.mark.parametrize(
    ("key", "selectors", "warn", "refuse"),
    [
        ("shoulder abduction", ("", "", "", "", 3, 150), 195, 210),
        ("shoulder abduction", ("", "", "", "", 0, 3), 200, 210),
        ("elbow extension", ("beyond", "", "", "", 3, 150), 15, 30),
        ("elbow extension", ("short", "", "", "", 0, 150), 90, 150),
        ("shoulder external-rotation", ("", "abducted-90", "", "", 3, 150), 125, 150),
        ("shoulder external-rotation", ("", "at-side", "", "", 3, 150), 100, 120),
        ("hand grip", ("", "", "", "male", 18, 150), 75, 120),
        ("hand grip", ("", "", "", "female", 18, 150), 48, 90),
        ("hand grip", ("", "", "", "male", 0, 18), 60, 90),
        ("hand grip", ("", "", "", "female", 0, 18), 43, 90),
        ("hand tip-pinch", ("", "", "", "", 0, 150), 15, 27),
        ("finger-mcp extension", ("beyond", "", "little", "", 0, 150), 90, 110),
        ("finger-mcp extension", ("beyond", "", "ring", "", 0, 150), 60, 110),
        ("finger-pip flexion", ("", "", "", "", 0, 150), 125, 140),
        ("hand pulp-to-palm", ("", "", "", "", 0, 150), 10, 15),
    ],
)
def test_exm_08_limits(tables, key, selectors, warn, refuse):
    joint, item = key.split()
    found = [
        (row.warn_above, row.refuse_above)
        for row in tables.limits[joint, item]
        if (row.direction, row.arm_position, row.digit, row.sex, row.age_from, row.age_below)
        == selectors
    ]
    assert found == [(warn, refuse)]


def test_concepts_are_unique_and_well_formed(tables):
    made = list(concepts(tables))
    assert len({concept.code for concept in made}) == len(made) == len(tables.concepts)
    for concept in made:
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", concept.code)
        assert concept.display == concept.display.strip()
        assert concept.display[:1].isupper() or concept.display[0].isdigit()


def test_everything_that_can_be_recorded_has_a_concept(tables):
    made = tables.concepts
    for row in tables.motions.values():
        assert all(motion_concept(row, mode) in made for mode in row.modes)
    for joint, part, site in tables.sites:
        row = tables.sites[joint, part, site]
        assert all(site_concept(joint, site, digit) in made for digit in (None, *row.digits))
        assert all(sign_concept(part, sign) in made for sign in row.signs)
    assert all(strength_concept(*key) in made for key in tables.strength)
    for joint in tables.joints.values():
        assert panel_concept(joint.joint) in made
        assert all(part_concept(joint.joint, part) in made for part in PARTS)
        assert all(site_concept(joint.joint, None, d) in made for d in (None, *joint.digits))


def test_exm_15_absences_differ(tables):
    words = ("not-tested", "declined", "not-applicable", "not-examined")
    assert len({tables.concepts[absence_concept(word)].display for word in words}) == len(words)
    assert tables.concepts[absence_concept("not-tested", "pain")].display == "Not tested: pain"
    standard = {tables.maps[word][0].code for word in words[:3]}
    assert standard == {"not-performed", "asked-declined", "not-applicable"}


@pytest.mark.parametrize(
    ("code", "display"),
    [
        ("shoulder-abduction-rom-active", "Shoulder abduction, active range of motion"),
        ("finger-mcp-flexion-strength", "Finger MCP flexion, muscle strength"),
        ("hand-grip-strength", "Grip strength"),
        ("site-finger-pip-middle", "PIP joint of middle finger"),
        ("site-hand-little", "Little finger"),
        ("site-shoulder-ac-joint", "Acromioclavicular joint"),
        ("palpation-tenderness", "Tenderness on palpation"),
    ],
)
def test_displays_read_as_clinical_english(tables, code, display):
    assert tables.concepts[code].display == display


def test_labels_inside_a_sentence():
    assert (in_text("Elbow"), in_text("MCP joint")) == ("elbow", "MCP joint")


def test_side_specific_structures_are_the_right_way_round(tables):
    elbow = tables.structures[tables.joints["elbow"].structure]
    assert (elbow.snomed_left, elbow.snomed_right) == ("368148009", "368149001")
    wrist = tables.structures[tables.joints["wrist"].structure]
    assert (wrist.snomed_left, wrist.snomed_right) == ("5951000", "9736006")
    hand = tables.structures[tables.joints["hand"].structure]
    assert (hand.snomed, hand.snomed_left, hand.snomed_right) == ("85562004", "", "")


def test_trm_03_deprecated_codes_are_known_and_unmapped(tables):
    gone = {code.code for code in tables.codes.values() if code.status == "deprecated"}
    assert gone == {"41301-3", "41302-1", "41313-8", "41314-6", "41383-1", "41384-9"}
    assert not gone & {row.code for some in tables.maps.values() for row in some}


def test_trm_04_frontal_adduction_stays_unmapped(tables):
    assert tables.maps.get("shoulder-adduction-rom-active") is None
    assert {row.code for row in tables.maps["shoulder-horizontal-adduction-rom-active"]} == {
        "56047-4",
        "56048-2",
        "56044-1",
    }


def test_trm_02_only_canonical_systems(tables):
    assert tables.systems["loinc"].uri == "http://loinc.org"
    assert tables.systems["snomed"].uri == "http://snomed.info/sct"
    assert tables.systems["ucum"].uri == "http://unitsofmeasure.org"
    assert len({system.uri for system in tables.systems.values()}) == len(tables.systems)


def test_no_code_of_low_confidence(tables):
    assert not LOW_CONFIDENCE & {code for _, code in tables.codes}


def test_an_inferred_side_is_not_verified(tables):
    assert not tables.codes["loinc", "41311-2"].verified
    assert tables.codes["loinc", "41299-9"].verified


def test_every_loinc_code_has_a_check_digit_that_holds(tables):
    numbers = [code for system, code in tables.codes if system == "loinc"]
    assert numbers
    for number in numbers:
        assert check_digit_holds("loinc", number)
        wrong = f"{number[:-1]}{(int(number[-1]) + 1) % 10}"
        assert not check_digit_holds("loinc", wrong)


def test_every_unit_is_ucum(tables):
    registry = ucumvert.PintUcumRegistry()
    for unit in tables.units.values():
        base = registry.from_ucum(tables.units[unit.base].ucum)
        factor = (1 * registry.from_ucum(unit.ucum)).to(base.units).magnitude
        assert factor / base.magnitude == pytest.approx(float(unit.factor), rel=1e-12)


def test_published_figures_of_extension_are_flexion_positive(tables):
    by_source = {
        (row.source, row.evidence): row.value
        for row in tables.ranges["elbow", "extension"]
        if row.sex in ("any", "female") and row.age_from >= 18
    }
    assert by_source["ZWERUS_2017", "seen"] == -2
    assert by_source["MACEDO_MAGEE", "secondary"] == -2
    assert by_source["WALKER_1984", "secondary"] == 4


def test_codes_and_figures_are_those_of_the_shared_reference(tables, shared_dir):
    with (shared_dir / "coding" / "codes.csv").open(encoding="utf-8") as file:
        known = {
            (row["system"], row["code"]): (row["display"], row["confidence"])
            for row in csv.DictReader(file)
        }
    without = {"yes-no", "reference-range-meaning"}
    for code in tables.codes.values():
        if code.system in without or (code.system, code.code) == ("ucum", "rad"):
            continue
        uri = tables.systems[code.system].uri
        assert known[uri, code.code] == (code.display, code.confidence)
    with (shared_dir / "reference" / "rom_reference.csv").open(encoding="utf-8") as file:
        figures = {
            (row["source"], row["seen"].split(";")[0], row["mean_deg"].lstrip("-"))
            for row in csv.DictReader(file)
        }
    for some in tables.ranges.values():
        for row in some:
            digits = str(abs(row.value))
            kinds = {
                kind for source, kind, value in figures if (source, value) == (row.source, digits)
            }
            assert kinds, row
            # a row may be trusted less than its origin, never more
            assert row.evidence in kinds or row.evidence == "memory", row
