"""Sums of a digit and their gradings, and reaches. Examples: the reference collection."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.motions import bend, finger, graded, motion, only, worked

TAM, TPM = "total-active-motion", "total-passive-motion"
STRICKLAND = "strickland-percentage"

# section 3 (ASSH scheme through a hand-therapy note, Eaton; seen)
TOTALS = {
    "3a": ((0, 90), (0, 100), (0, 70), 260, "100", "excellent", "excellent"),
    "3b": ((0, 85), (10, 95), (0, 60), 230, "88.46", "good", "excellent"),
    "3c": ((0, 80), (25, 80), (5, 45), 175, "67.31", "fair", "fair"),
    "3d": ((-20, 90), (0, 100), (0, 70), 260, "100", "excellent", "excellent"),
}
# section 4 (seen): PIP and DIP flexion, their deficits, percent, 1980 band, band by degrees
PERCENTAGES = {
    "4a": (100, 70, 0, 0, "97.14", "excellent", "excellent"),
    "4b": (95, 60, 10, 0, "82.86", "good", "good"),
    "4c": (100, 60, 5, 6, "85.14", "excellent", "good"),
    "4d": (100, 60, 6, 6, "84.57", "good", "good"),
    "4e": (90, 50, 10, 5, "71.43", "good", "good"),
    "4f": (80, 45, 25, 5, "54.29", "fair", "fair"),
    "4g": (60, 30, 15, 5, "40.00", "poor", "poor"),
    "4h": (110, 75, 0, 0, "105.71", "excellent", "excellent"),
}


@pytest.mark.parametrize("name", TOTALS)
def test_total_active_motion_example(name):
    mcp, pip, dip, total, percent, assh, eaton = TOTALS[name]
    found = only(worked(finger(mcp, pip, dip)), TAM)
    assert (found.value, found.unit) == (total, "deg")
    assert f"{percent} % of 260 deg (ASSH_TAM)" in found.statement
    assert graded(found) == {"ASSH": assh, "Eaton": eaton}
    assert (found.joint, found.digit, found.side) == ("hand", "middle", "right")
    assert len(found.used) == 6
    assert {"ASSH_TAM", "EATON_EHAND"} <= set(found.sources)
    assert found.flagged == (assh == eaton == "fair")


def test_3b_both_gradings_are_in_the_statement_by_name():
    mcp, pip, dip, *_ = TOTALS["3b"]
    assert "ASSH: good, Eaton: excellent" in only(worked(finger(mcp, pip, dip)), TAM).statement


@pytest.mark.parametrize(
    ("total", "assh", "eaton"),
    [
        # exactly 75 and 50 percent take the lower word
        (195, "fair", "good"),
        (196, "good", "good"),
        (130, "poor", "fair"),
        (131, "fair", "fair"),
        (129, "poor", "poor"),
        (219, "good", "good"),
        (219.5, "good", "good"),
        (220, "good", "excellent"),
        (259, "good", "excellent"),
        (280, "excellent", "excellent"),
    ],
)
def test_edges_of_the_gradings_of_a_total(total, assh, eaton):
    rest = Decimal(str(total)) - 60 - 50
    found = only(worked(finger((0, rest), (0, 60), (0, 50))), TAM)
    assert graded(found) == {"ASSH": assh, "Eaton": eaton}


@pytest.mark.parametrize("name", PERCENTAGES)
def test_strickland_example(name):
    pip, dip, pip_short, dip_short, percent, original, degrees = PERCENTAGES[name]
    findings = bend("finger-pip", pip_short, pip, digit="ring")
    findings += bend("finger-dip", dip_short, dip, digit="ring")
    found = only(worked(findings), STRICKLAND)
    assert (found.value, found.unit) == (Decimal(percent), "%")
    words = graded(found)
    assert words["Strickland-Glogovac 1980"] == original
    assert words["Tang 2013 (degrees)"] == degrees
    assert "Strickland 1985 (adjusted)" not in words
    assert found.evidence == "seen"


@pytest.mark.parametrize(
    ("net", "original", "degrees"),
    [
        (Decimal("148.75"), "excellent", "good"),
        (Decimal("148.74"), "good", "good"),
        (Decimal("122.5"), "good", "fair"),
        (Decimal("122.4"), "fair", "fair"),
        (Decimal("87.5"), "fair", "poor"),
        (Decimal("87.4"), "poor", "poor"),
        # exactly 150 is in no printed band and takes the lower word
        (Decimal(150), "excellent", "good"),
        (Decimal("150.5"), "excellent", "excellent"),
        (Decimal(90), "fair", "fair"),
    ],
)
def test_bands_hold_on_the_unrounded_value(net, original, degrees):
    findings = bend("finger-pip", 0, net - 40, digit="ring")
    findings += bend("finger-dip", 0, 40, digit="ring")
    words = graded(only(worked(findings), STRICKLAND))
    assert words["Strickland-Glogovac 1980"] == original
    assert words["Tang 2013 (degrees)"] == degrees


def test_the_stricter_proposal_has_a_word_for_its_ends_alone():
    def word(pip: int) -> str | None:
        findings = bend("finger-pip", 0, pip, digit="ring") + bend(
            "finger-dip", 0, 40, digit="ring"
        )
        return graded(only(worked(findings), STRICKLAND)).get("Tang 2013")

    # 90 percent of 175 is 157.5, 30 percent is 52.5
    assert [word(pip) for pip in (118, 117, 13, 12)] == ["excellent", None, None, "failure"]


@pytest.mark.parametrize(
    ("pip", "word"), [(92, "excellent"), (91, "good"), (48, "good"), (47, "fair"), (3, "poor")]
)
def test_adjusted_bands_are_from_memory_and_off_until_asked_for(pip, word):
    findings = bend("finger-pip", 0, pip, digit="ring") + bend("finger-dip", 0, 40, digit="ring")
    found = only(worked(findings, memory=True), STRICKLAND)
    assert graded(found)["Strickland 1985 (adjusted)"] == word
    assert found.evidence == "memory"
    assert "from memory" in found.statement
    plain = only(worked(findings), STRICKLAND)
    assert plain.evidence == "seen"
    assert "memory" not in plain.statement
    assert plain.value == found.value


def thumb(mcp: int, ip: int) -> list:
    return bend("thumb-mcp", 0, mcp) + bend("thumb-ip", 0, ip)


@pytest.mark.parametrize(
    ("mcp", "word"),
    [(59, "excellent"), (58, "good"), (38, "good"), (37, "fair"), (10, "fair"), (9, "poor")],
)
def test_thumb_total_is_from_memory_with_the_published_degrees(mcp, word):
    # Eaton: 119-140, 98-118, 70-97, below 70 (seen); which joints make it is from memory
    assert not [one for one in worked(thumb(mcp, 60)) if one.name == TAM]
    found = only(worked(thumb(mcp, 60), memory=True), TAM)
    assert graded(found) == {"Eaton": word}
    assert found.evidence == "memory"
    assert not [one for one in worked(thumb(mcp, 60), memory=True) if one.name == STRICKLAND]


def test_total_passive_motion_is_the_same_sum_without_a_grading():
    found = only(worked(finger((0, 90), (10, 100), (0, 70), mode="passive")), TPM)
    assert (found.value, found.gradings, found.flagged) == (250, (), False)
    assert found.evidence == "own"


def test_a_total_without_all_joints_says_what_is_missing():
    found = worked(finger((0, 90), (0, 100), (0, 70))[:-1])
    for name in (TAM, STRICKLAND):
        one = only(found, name)
        assert one.value is None
        assert one.missing == ("right middle finger DIP joint flexion, active: not recorded",)
        assert not one.gradings
        assert not one.flagged


def test_a_missing_end_of_extension_is_not_taken_as_straight():
    findings = [one for one in finger((0, 90), (0, 100), (0, 70)) if one.motion == "flexion"]
    assert len(only(worked(findings), TAM).missing) == 3


def test_nothing_of_the_digit_gives_no_total():
    found = worked(bend("elbow", 0, 140) + finger((0, 90), (0, 100), (0, 70), digit="ring"))
    assert {one.digit for one in found if one.name in (TAM, TPM, STRICKLAND)} == {"ring"}


def test_the_other_side_is_named_beside_a_total():
    findings = finger((0, 85), (10, 95), (0, 60))
    findings += finger((0, 90), (0, 100), (0, 60), side="left")
    found = worked(findings)
    assert "left side 250 deg" in only(found, TAM, side="right").statement
    assert "right side 230 deg" in only(found, TAM, side="left").statement


def station(grade: str, **more: object) -> object:
    return motion("thumb-cmc", "opposition", grade, **more)


@pytest.mark.parametrize("grade", [str(number) for number in range(11)])
def test_opposition_station_and_its_condition(grade):
    # section 13: a score from 7 on counts only if the earlier stations are possible (seen)
    found = only(worked([station(grade)]), "opposition-station")
    assert found.value == int(grade)
    assert ("every lower one" in found.statement) == (int(grade) >= 7)
    assert found.interpretation is None
    assert f"({grade})" in found.statement
    assert "KAPANDJI_1986" in found.sources


def test_two_stations_on_one_side_are_no_station():
    found = only(
        worked([station("8", key="a"), station("3", key="b")]),
        "opposition-station",
    )
    assert found.value is None
    assert "recorded 2 times" in found.missing[0]


def palm(value: object, side: str = "right", **more: object) -> object:
    return motion("hand", "pulp-to-palm", value, **{"digit": "index", "side": side, **more})


def test_pulp_to_palm_deficit_against_the_other_side():
    # section 14, from memory: index 2.5 cm, opposite 0: deficit 2.5 cm
    found = only(worked([palm(2.5), palm(0, "left")]), "pulp-to-palm-difference")
    assert (found.value, found.unit, found.side) == (Decimal("2.5"), "cm", "both")
    assert "right 2.5 cm farther from the palm than left" in found.statement
    assert "distal crease of the palm" in found.statement
    assert found.digit == "index"


def test_pulp_to_palm_in_millimetres_is_the_same_distance():
    one = only(worked([palm(25, unit="mm"), palm(0, "left")]), "pulp-to-palm-difference")
    other = only(worked([palm(2.5), palm(0, "left", unit="mm")]), "pulp-to-palm-difference")
    assert str(one.value) == str(other.value) == "2.5"


def test_pulp_to_palm_of_one_side_says_that_the_other_is_missing():
    found = only(worked([palm(2.5)]), "pulp-to-palm-difference")
    assert found.value is None
    assert found.missing == ("left index finger pulp-to-palm distance, active: not recorded",)


def fist(grade: str) -> object:
    return motion("hand", "fist", grade)


@pytest.mark.parametrize(("grade", "code"), [("none", "A"), ("partial", "A"), ("full", "N")])
def test_fist(grade, code):
    found = only(worked([fist(grade)]), "fist-closure")
    assert (found.interpretation, found.flagged) == (code, code == "A")


def test_a_full_fist_is_contradicted_by_a_distance():
    found = only(worked([fist("full"), palm(1.5)]), "fist-closure")
    assert found.flagged
    assert "contradicted by 1.5 cm at the index finger" in found.statement
    assert len(found.used) == 2
    for other in (palm(0), palm(1.5, "left"), palm(1.5, mode="passive")):
        assert not only(worked([fist("full"), other]), "fist-closure").flagged


def behind(right: str, left: str) -> list:
    name = "thumb-behind-back"
    return [motion("shoulder", name, right), motion("shoulder", name, left, side="left")]


@pytest.mark.parametrize(
    ("right", "left", "steps", "flagged", "words"),
    [
        # section 12, from memory: T7 against L1 is 6 levels
        ("L1", "T7", 6, True, "right 6 levels lower than left"),
        ("T7", "L1", -6, True, "right 6 levels higher than left"),
        # observers differ by one level on average (EDWARDS_2002, seen)
        ("T8", "T7", 1, False, "right 1 level lower than left"),
        ("T9", "T7", 2, True, "right 2 levels lower than left"),
        ("T7", "T7", 0, False, "no difference"),
        ("greater-trochanter", "T1", 19, True, "right 19 levels lower than left"),
    ],
)
def test_levels_behind_the_back(right, left, steps, flagged, words):
    found = only(worked(behind(right, left)), "vertebral-level-difference")
    assert (found.value, found.unit, found.flagged) == (steps, "", flagged)
    assert words in found.statement
    assert f"right {right}, left {left}" in found.statement
    assert "EDWARDS_2002" in found.sources


def test_levels_of_one_side_say_what_is_missing():
    found = only(worked(behind("L1", "T7")[:1]), "vertebral-level-difference")
    assert found.missing == ("left shoulder thumb behind the back, active: not recorded",)
