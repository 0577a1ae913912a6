"""Every rule of the model has exams that break it and exams that do not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

import pytest
from tests.exam.builders import (
    end,
    exam,
    found,
    grade,
    grip,
    kg,
    move,
    part,
    read,
    sign,
    tables,
    to_json,
)

from brachium.exam.model import RULES, ModelOptions
from brachium.exam.reading import examine
from brachium.problems import Severity


class Case(NamedTuple):
    code: str
    pointers: list[str]
    broken: dict[str, Any]
    fine: dict[str, Any]
    options: dict[str, bool] = {}  # noqa: RUF012 - never changed


F0, F1 = "/findings/0", "/findings/1"
ELBOW = {"joint": "elbow", "motion": "flexion"}
PIP = {"joint": "finger-pip", "motion": "flexion"}
ROTATION = {"motion": "external-rotation"}
ABSENT = {"absent": {"reason": "not-tested", "because": "pain"}}
WRIST = [
    ("wrist", name) for name in ("flexion", "extension", "radial-deviation", "ulnar-deviation")
]
MANY = [
    *(("shoulder", name) for name in ("flexion", "extension", "abduction", "adduction")),
    ("elbow", "flexion"),
    *WRIST,
]

WASTED = {
    joint: site
    for (joint, kind, site), row in tables().sites.items()
    if "wasting" in row.signs and not row.digits and kind == "inspection"
}


def both_sides(difference: int) -> dict[str, Any]:
    return exam(
        *(
            move(20 + number + (difference if side == "left" else 0), joint=j, motion=m, side=side)
            for number, (j, m) in enumerate(MANY)
            for side in ("left", "right")
        )
    )


def wrist(*values: Any) -> dict[str, Any]:
    return exam(*(move(v, joint=j, motion=m) for v, (j, m) in zip(values, WRIST, strict=True)))


def both(kind: str, **more: Any) -> dict[str, Any]:
    sites = {"kind": "inspection", "joint": "shoulder", "site": "clavicle"}
    return {**sites, "sign": kind, "side": "both", **more}


CASES = [
    Case(
        "effective-unreal",
        ["/effective"],
        exam(move(90), effective="2026-02-30T10:15:00+01:00"),
        exam(move(90), effective="2024-02-29T10:15:00.5Z"),
    ),
    Case(
        "birth-date-unreal",
        ["/patient/birthDate"],
        exam(move(90), patient={"birthDate": "1969-02-30"}),
        exam(move(90), patient={"birthDate": "1969-02"}),
    ),
    Case(
        "born-after-exam",
        ["/patient/birthDate"],
        exam(move(90), patient={"birthDate": "2026-03-03"}),
        exam(move(90), patient={"birthDate": "2026"}),
    ),
    Case(
        "age-unusual",
        ["/patient/birthDate"],
        exam(move(90), patient={"birthDate": "1869-04-11"}),
        exam(move(90), patient={"birthDate": "1926-04-11"}),
    ),
    Case("joint-unknown", [f"{F0}/joint"], exam(move(90, joint="sholder")), exam(move(90))),
    Case("motion-unknown", [f"{F0}/motion"], exam(move(90, motion="supination")), exam(move(90))),
    Case(
        "mode-unfit",
        [f"{F0}/mode"],
        exam(move(motion="hand-behind-head", mode="passive", grade="full")),
        exam(move(motion="hand-behind-head", grade="full")),
    ),
    Case("site-unknown", [f"{F0}/site"], exam(sign(site="olecranon")), exam(sign())),
    Case("sign-unknown", [f"{F0}/sign"], exam(sign(sign="wound")), exam(sign())),
    Case("test-unknown", [f"{F0}/test"], exam(grade("5", test="grip")), exam(grade("5"))),
    Case(
        "digit-unfit",
        [f"{F0}/digit", f"{F1}/digit"],
        exam(move(40, **PIP, digit="thumb"), move(90, digit="index")),
        exam(move(40, **PIP, digit="index"), move(90)),
    ),
    Case(
        "digit-missing", [f"{F0}/digit"], exam(move(40, **PIP)), exam(move(40, **PIP, digit="ring"))
    ),
    Case(
        "arm-position-missing",
        [f"{F0}/armPosition"],
        exam(move(40, **ROTATION)),
        exam(move(40, **ROTATION, armPosition="at-side")),
    ),
    Case(
        "arm-position-unfit",
        [f"{F0}/armPosition"],
        exam(move(90, armPosition="at-side")),
        exam(move(40, **ROTATION, armPosition="abducted-90")),
    ),
    Case(
        "method-unfit",
        [f"{F0}/method", f"{F1}/method"],
        exam(move(90, method="dynamometer"), grade("4", method="goniometer")),
        exam(move(90, method="goniometer"), grade("4", method="manual-muscle-test")),
    ),
    Case(
        "position-unknown",
        [f"{F0}/position"],
        exam(move(90, position="at-side")),
        exam(move(90, position="sitting")),
    ),
    Case(
        "limiter-unknown",
        [f"{F0}/limitedBy/1"],
        exam(move(90, limitedBy=["pain", "sitting"])),
        exam(move(90, limitedBy=["pain", "weakness"])),
    ),
    Case(
        "because-unknown",
        [f"{F0}/absent/because"],
        exam(move(absent={"reason": "declined", "because": "rain"})),
        exam(move(**ABSENT)),
    ),
    Case(
        "grade-unknown",
        [f"{F0}/grade", f"{F1}/grade"],
        exam(grade("6"), move(motion="thumb-behind-back", grade="T13")),
        exam(grade("4+"), move(motion="thumb-behind-back", grade="T12")),
    ),
    Case(
        "grade-unknown",
        [f"{F0}/grade"],
        exam(grade("4+")),
        exam(grade("4")),
        {"plus_minus_grades": False},
    ),
    Case(
        "side-paired",
        [f"{F0}/side"],
        exam({**both("contour-asymmetry", present=False), "side": "left"}),
        exam(both("contour-asymmetry", present=False)),
    ),
    Case(
        "side-of-trials",
        [f"{F0}/side"],
        exam(grip(30, side="both")),
        exam(grip(30), grade("5", side="both")),
    ),
    Case(
        "result-missing",
        [
            f"{F0}/angle",
            f"{F1}/end",
            "/findings/2/grade",
            "/findings/3/trials",
            "/findings/4/present",
            "/findings/5/outcome",
        ],
        exam(move(), end(None), grade(None), grip(), sign(None), {**part(), "outcome": None}),
        exam(
            move(90),
            end("straight"),
            grade("4"),
            grip(30),
            sign(False, site="acromion"),
            part("inspection"),
            move(side="left", **ABSENT),
        ),
    ),
    Case(
        "result-and-absent",
        [f"{F0}/absent", f"{F1}/absent"],
        exam(move(90, **ABSENT), sign(severity=3, present=None, **ABSENT)),
        exam(move(**ABSENT), sign(None, **ABSENT)),
    ),
    Case(
        "result-form",
        [f"{F0}/angle", f"{F1}/grade", "/findings/2/grade"],
        exam(
            move(5, joint="elbow", motion="extension"), move(90, grade="full"), grip(30, grade="4")
        ),
        exam(end("beyond-straight", 5), move(90), grip(30)),
    ),
    Case(
        "magnitude-missing",
        [f"{F0}/magnitude"],
        exam(end("short-of-straight")),
        exam(end("straight")),
    ),
    Case(
        "magnitude-unfit",
        [f"{F0}/magnitude", f"{F1}/magnitude"],
        exam(end("straight", 5), end(None, 5, mode="passive")),
        exam(end("short-of-straight", 5)),
    ),
    Case(
        "severity-unrated",
        [f"{F0}/severity"],
        exam(sign(sign="warmth", severity=3)),
        exam(sign(severity=3)),
    ),
    Case(
        "limited-by-beside-absent",
        [f"{F0}/limitedBy"],
        exam(move(**ABSENT, limitedBy=["pain"])),
        exam(move(90, limitedBy=["pain"])),
    ),
    Case(
        "limiter-twice",
        [f"{F0}/limitedBy/1"],
        exam(move(90, limitedBy=["pain", "pain"])),
        exam(move(90, limitedBy=["pain", "stiffness"])),
    ),
    Case(
        "unit-unfit",
        [f"{F0}/angle/unit", f"{F1}/trials/1/unit"],
        exam(
            move(angle={"value": 150, "unit": "°"}),
            grip(30, trials=[*kg(30), *kg(30, unit="stone")]),
        ),
        exam(move(150), grip(60, unit="lb")),
    ),
    Case(
        "unit-unfit",
        [f"{F0}/angle/unit"],
        exam(move(angle={"value": 1, "unit": "in"})),
        exam(move(angle={"value": 1, "unit": "rad"})),
        {"convert_units": True},
    ),
    Case(
        "trials-of-mixed-units",
        [f"{F0}/trials/2/unit"],
        exam(grip(trials=[*kg(30, 31), *kg(31, unit="lb")])),
        exam(grip(30, 31, 31)),
    ),
    Case(
        "limit-refused",
        [f"{F0}/angle/value", f"{F1}/trials/1/value"],
        exam(move(260 - 45), grip(30, 91)),
        exam(move(210), grip(90)),
    ),
    Case(
        "limit-queried",
        [f"{F0}/magnitude/value", f"{F1}/trials/0/value"],
        exam(end("beyond-straight", 18), grip(49)),
        exam(end("beyond-straight", 15), grip(48)),
    ),
    Case(
        "angle-range",
        [f"{F0}/angle/value", f"{F1}/angle/value"],
        exam(move(221), move(-61, side="left")),
        exam(move(-60)),
    ),
    Case("angle-finer-than-read", [f"{F0}/angle/value"], exam(move(90.25)), exam(move(90.5))),
    Case("angle-below-neutral", [f"{F0}/angle/value"], exam(move(-5)), exam(move(0))),
    Case(
        "value-negative",
        [f"{F0}/magnitude/value", f"{F1}/trials/0/value"],
        exam(end("short-of-straight", -5), grip(-1)),
        exam(end("short-of-straight", 5), grip(1)),
    ),
    Case(
        "magnitude-zero",
        [f"{F0}/magnitude/value"],
        exam(end("short-of-straight", 0)),
        exam(end("short-of-straight", 1)),
    ),
    Case(
        "severity-contradicts-present",
        [f"{F0}/severity", f"{F1}/severity"],
        exam(sign(False, severity=3), sign(True, severity=0, side="left")),
        exam(sign(False, severity=0), sign(True, severity=3, side="left")),
    ),
    Case(
        "force-zero",
        [f"{F0}/trials/1/value"],
        exam(grip(1, 0)),
        exam(grip(0, 0, limitedBy=["weakness"])),
    ),
    Case(
        "key-twice",
        [f"{F1}/key"],
        exam(move(90), {"key": "f0", **grade("5")}),
        exam(move(90), grade("5")),
    ),
    Case(
        "question-twice",
        [F1, "/findings/3"],
        exam(move(90), move(95, method="goniometer"), sign(), sign(False, side="both")),
        exam(move(90), move(95, side="left"), sign(), sign(False, sign="warmth")),
    ),
    Case(
        "deficit-and-hyperextension",
        [f"{F1}/end"],
        exam(end("short-of-straight", 20), end("beyond-straight", 5)),
        exam(end("short-of-straight", 20), end("beyond-straight", 5, side="left")),
    ),
    Case(
        "ends-crossed",
        [f"{F0}/magnitude/value", "/findings/2/angle/value"],
        exam(
            end("short-of-straight", 100),
            move(90, joint="elbow", motion="flexion"),
            move(-30, motion="flexion"),
            move(20, motion="extension"),
        ),
        exam(
            end("short-of-straight", 95),
            move(90, joint="elbow", motion="flexion"),
            move(60, joint="elbow", motion="flexion", side="left"),
            move(-30, motion="flexion"),
            move(40, motion="extension"),
        ),
    ),
    Case(
        "passive-far-below-active",
        [f"{F1}/angle/value", "/findings/3/magnitude/value"],
        exam(
            move(120),
            move(100, mode="passive"),
            end("straight"),
            end("short-of-straight", 16, mode="passive"),
        ),
        exam(
            move(120),
            move(105, mode="passive"),
            end("short-of-straight", 20),
            end("beyond-straight", 5, mode="passive"),
        ),
    ),
    Case(
        "passive-below-active",
        [f"{F0}/angle/value"],
        exam(move(100, mode="passive"), move(106)),
        exam(move(100, mode="passive"), move(105)),
    ),
    Case(
        "strong-without-motion",
        [f"{F0}/grade"],
        exam(grade("3"), move(0, **ELBOW), move(90, **ELBOW, mode="passive")),
        exam(grade("3"), move(0, **ELBOW), move(0, **ELBOW, mode="passive")),
    ),
    Case(
        "paralysed-with-motion",
        [f"{F0}/grade"],
        exam(grade("1"), move(30, **ELBOW)),
        exam(
            grade("1"),
            move(0, **ELBOW),
            grade("0", side="left"),
            move(30, **ELBOW, side="both", mode="passive"),
        ),
    ),
    Case(
        "weak-with-full-motion",
        [f"{F0}/grade"],
        exam(grade("2"), move(140, **ELBOW, position="sitting")),
        exam(grade("2"), move(40, **ELBOW, position="sitting")),
    ),
    Case(
        "limited-but-full",
        [f"{F0}/limitedBy"],
        exam(move(180, limitedBy=["stiffness"])),
        exam(move(120, limitedBy=["stiffness"])),
    ),
    Case(
        "symmetrical-but-one-sided",
        [f"{F0}/present"],
        exam(
            both("contour-asymmetry", present=False),
            {**both("deformity", present=True), "side": "left"},
            {**both("deformity", present=False), "side": "right"},
        ),
        exam(
            both("contour-asymmetry", present=True),
            {**both("deformity", present=True), "side": "left"},
            {**both("deformity", present=False), "side": "right"},
        ),
    ),
    Case(
        "strong-with-weak-grip",
        ["/findings/2/grade"],
        exam(
            grip(20),
            grip(40, side="left"),
            grade("5", joint="finger-pip", test="flexion", digit="index"),
        ),
        exam(
            grip(30),
            grip(40, side="left"),
            grade("5", joint="finger-pip", test="flexion", digit="index"),
            grade("5"),
        ),
    ),
    Case(
        "strong-with-weakening-sign",
        [f"{F0}/grade", f"{F1}/grade"],
        exam(
            grade("5", joint="shoulder", test="abduction"),
            grade("5", joint="thumb-cmc", test="palmar-abduction"),
            {**both("wasting", present=True, site=WASTED["shoulder"]), "side": "right"},
            {**both("wasting", present=True, joint="hand", site=WASTED["hand"]), "side": "right"},
        ),
        exam(
            grade("4", joint="shoulder", test="abduction"),
            grade("5"),
            {**both("wasting", present=True, site=WASTED["shoulder"]), "side": "right"},
        ),
    ),
    Case(
        "part-contradicts-sign",
        [f"{F0}/outcome"],
        exam(part(), sign()),
        exam(part(), sign(False), sign(side="left")),
    ),
    Case(
        "part-contradicts-result",
        [f"{F0}/outcome", f"{F1}/outcome"],
        exam(part("motion"), part("strength", joint="elbow"), move(0), grade("3")),
        exam(part("motion"), part("strength", joint="elbow"), move(170), grade("5")),
    ),
    Case(
        "part-absent-with-results",
        [f"{F0}/absent"],
        exam({**part(**ABSENT), "outcome": None}, sign()),
        exam({**part(**ABSENT), "outcome": None}, sign(None, **ABSENT)),
    ),
    Case("sides-copied", ["/findings"], both_sides(0), both_sides(1)),
    Case("same-number-everywhere", ["/findings"], wrist(0, 0, 0, 0), wrist(0, 0, 0, 5)),
    Case("looks-like-radians", ["/findings"], wrist(1, 1.5, 0.5, 0.5), wrist(1, 1, 2, 4)),
    Case("trials-spread", [f"{F0}/trials"], exam(grip(30, 24, 29)), exam(grip(30, 26, 29))),
    Case("trials-rising", [f"{F0}/trials"], exam(grip(20, 22, 25)), exam(grip(25, 22, 20))),
    Case(
        "dominance-unknown",
        ["/patient/dominantHand"],
        exam(grip(30), patient={"dominantHand": "unknown"}),
        exam(grip(30)),
    ),
]


@pytest.mark.parametrize("case", CASES, ids=[f"{n}-{c.code}" for n, c in enumerate(CASES)])
def test_exm_08_rule_speaks_where_it_is_broken_and_only_there(case):
    examined = read(case.broken, **case.options)
    assert found(examined, case.code) == case.pointers, examined.problems
    rule = next(rule for rule in RULES if rule.code == case.code)
    assert (examined.exam is None) >= (rule.severity is Severity.ERROR)
    fine = read(case.fine, **case.options)
    assert found(fine, case.code) == []
    assert fine.exam is not None, fine.problems


def test_every_rule_is_covered_by_a_case():
    assert {rule.code for rule in RULES} - {"part-unfit"} == {case.code for case in CASES}


def test_part_unfit_speaks_where_a_joint_has_nothing_to_record():
    rows = {key: row for key, row in tables().strength.items() if key[0] != "forearm"}
    without = replace(tables(), strength=rows)
    posted = exam(part("strength", joint="forearm"), part("motion", joint="forearm"))
    examined = examine(to_json(posted), without, ModelOptions())
    assert found(examined, "part-unfit") == [f"{F0}/part"]
    assert not read(posted).problems


def test_every_rule_has_a_code_of_its_own_and_says_why_and_what_to_do():
    codes = [rule.code for rule in RULES]
    assert len(codes) == len(set(codes))
    for rule in RULES:
        assert rule.title
        assert rule.source
        assert rule.reason.endswith(".")
        assert rule.remedy.endswith(".")
        assert rule.check.__doc__


def test_exm_08_limits_name_the_limit_and_its_source_with_the_edition():
    examined = read(exam(end("beyond-straight", 18)))
    (problem,) = examined.problems
    assert "18 deg is above 15 deg" in problem.message
    assert problem.severity is Severity.WARNING
    assert "OWN_PROPOSAL" in problem.source
    assert "tables" in problem.source
    assert examined.exam is not None
    refused = read(exam(move(260)))
    assert refused.exam is None
    assert {p.issue_type for p in refused.problems} == {"business-rule"}


def test_exm_08_infants_move_further_without_a_query():
    infant = {"birthDate": "2025-01-01"}
    assert not read(exam(move(198), patient=infant)).problems
    assert found(read(exam(move(198))), "limit-queried")


def test_exm_08_unknown_sex_and_year_of_birth_take_the_widest_limit():
    assert found(read(exam(grip(50))), "limit-queried")
    other = {"sex": "other"}
    assert not read(exam(grip(50), patient=other)).problems
    unsure = {"birthDate": "2023"}
    assert not read(exam(move(198), patient=unsure)).problems


@pytest.mark.parametrize(
    ("finding", "words"),
    [
        (grip(95), "95 lb are 43.1 kg"),
        (grip(200, unit="kg"), "200 lb are 90.7 kg|200 N are 20.4 kg"),
        (grip(150, unit="lb"), "150 N are 15.3 kg"),
    ],
)
def test_unit_mix_ups_come_with_the_suggestion(finding, words):
    (problem,) = (p for p in read(exam(finding)).problems if p.code.startswith("limit-"))
    assert any(word in problem.remedy for word in words.split("|")), problem.remedy


def test_exm_12_degree_sign_is_refused_naming_deg():
    examined = read(exam(move(angle={"value": 150, "unit": "°"})))
    (problem,) = examined.problems
    assert examined.exam is None
    assert problem.remedy == "Use deg."


def test_exm_12_radians_are_refused_with_the_value_or_converted_with_the_original_kept():
    posted = exam(move(angle={"value": 2.618, "unit": "rad"}))
    (problem,) = read(posted).problems
    assert "150.00 deg" in problem.remedy
    converted = read(posted, convert_units=True)
    assert converted.exam is not None
    angle = converted.exam.findings[0].angle
    assert (str(angle.value), angle.unit) == ("150.00", "deg")
    assert (str(angle.original.value), angle.original.unit) == ("2.618", "rad")
    assert not converted.problems


@pytest.mark.parametrize("value", ["2.61799387799", "0.000000000001", "999999999999", "-2.6"])
def test_exm_12_conversion_takes_every_number_that_can_be_posted(value):
    raw = to_json(exam(move(angle={"value": 77777, "unit": "rad"})))
    examined = read(raw.replace(b"77777", value.encode()), convert_units=True)
    if examined.exam is not None:
        assert -int(examined.exam.findings[0].angle.value.as_tuple().exponent) <= 2
    else:
        assert all(p.pointer.startswith("/findings/0/angle") for p in examined.problems)


def test_exm_12_inches_are_refused_with_the_centimetres():
    finding = move(joint="hand", motion="pulp-to-palm", digit="index")
    finding["distance"] = {"value": 1.0, "unit": "in"}
    (problem,) = read(exam(finding)).problems
    assert "2.5 cm" in problem.remedy


def test_exm_09_grade_above_the_scale_names_the_grades():
    (problem,) = read(exam(grade("6"))).problems
    assert "4+" in problem.remedy
    (problem,) = read(exam(grade("4+")), plus_minus_grades=False).problems
    assert "4+" not in problem.remedy


def test_near_words_come_first():
    (problem,) = read(exam(move(90, joint="sholder"))).problems
    assert problem.remedy.startswith("Use one of: shoulder,")
    assert "sholder" not in problem.message + problem.remedy


def test_words_about_trials_never_speak_of_motives():
    texts = [f"{r.title} {r.reason} {r.remedy}".lower() for r in RULES]
    for word in ("sincer", "effort was", "malinger", "cheat", "faking"):
        assert not any(word in text for text in texts)


def test_exm_06_what_is_remembered_never_changes_an_answer():
    posted = [exam(move(value)) for value in (150, 198, 230, 150.25)]
    for one in posted:
        assert read(one).problems == read(one).problems
    child = {"birthDate": "2025-01-01"}
    assert not read(exam(move(198), patient=child)).problems
    assert read(exam(move(198))).problems
    assert not found(read(exam(grip(50), patient={"sex": "male"})), "limit-queried")
    assert found(read(exam(grip(50))), "limit-queried")
