"""Reading a posted exam: what is not JSON, what has the wrong shape, all of it in one answer."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.exam.builders import deg, end, exam, found, grade, grip, move, read, sign, to_json

from brachium.problems import Severity

PRIVATE = "Mrs Quillfeather 1931"


def errors(examined):
    return {(p.pointer, p.code, p.issue_type) for p in examined.problems}


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (b"", "shape-not-json"),
        (b"{", "shape-not-json"),
        (b"\xff\xfe{}", "shape-not-json"),
        (b'{"effective": NaN}', "shape-not-json"),
        (b'{"effective": 01}', "shape-not-json"),
        (b'{"note": "\\ud800"}', "shape-not-json"),
        (b"[" * 5000, "shape-not-json"),
        (b'{"a": 1e9999999999999999999}', "shape-not-json"),
        (b"1" * 5000, "shape-not-json"),
        (b'{"a": 1} x', "shape-not-json"),
        (b'{"status": "final", "status": "preliminary"}', "shape-duplicate-member"),
        (b'{"findings": [{"key": "a", "key": "b"}]}', "shape-duplicate-member"),
    ],
)
def test_exm_06_broken_json_is_one_problem_that_repeats_nothing(raw, code):
    examined = read(raw)
    (problem,) = examined.problems
    assert examined.broken
    assert examined.exam is None
    assert (problem.code, problem.pointer, problem.issue_type) == (code, "", "structure")


def test_exm_06_duplicate_member_does_not_name_the_member():
    (problem,) = read(f'{{"{PRIVATE}": 1, "{PRIVATE}": 2}}'.encode()).problems
    assert PRIVATE not in str(problem)
    assert "line 1, column" in problem.message


@pytest.mark.parametrize("raw", [b"[]", b"null", b"7", b'"exam"', b"true"])
def test_exm_06_json_that_is_no_object_is_refused(raw):
    examined = read(raw)
    assert not examined.broken
    assert errors(examined) == {("", "shape-type", "structure")}


def test_exm_06_empty_object_names_every_missing_member():
    pointers = {p.pointer for p in read(b"{}").problems}
    names = ("identifier", "status", "effective", "patient", "examiner", "facility", "findings")
    assert pointers == {f"/{name}" for name in names}


def test_exm_02_missing_identifier_system_has_its_path():
    posted = exam(move(90))
    del posted["identifier"]["system"]
    (problem,) = read(posted).problems
    assert problem.expression == "exam.identifier.system"
    assert problem.issue_type == "required"


def test_exm_06_five_independent_errors_come_with_five_expressions():
    posted = exam(
        move(260),
        move(90, side="left", angel=3),
        sign(site="olecranon"),
        grade("6"),
        grip(30, side=None),
        effective="2026-03-02T10:15:00",
    )
    examined = read(posted)
    expected = {
        "/findings/0/angle/value",
        "/findings/1/angel",
        "/findings/2/site",
        "/findings/3/grade",
        "/findings/4/side",
        "/effective",
    }
    assert examined.exam is None
    assert expected <= {p.pointer for p in examined.problems if p.severity is Severity.ERROR}
    assert len({p.expression for p in examined.problems}) >= len(expected)


def test_exm_06_rules_run_over_good_findings_beside_bad_ones():
    posted = exam(move(None, angle="x"), move(100, mode="passive"), move(120))
    examined = read(posted)
    assert ("/findings/0/angle", "shape-type", "structure") in errors(examined)
    assert found(examined, "passive-far-below-active") == ["/findings/1/angle/value"]


def test_exm_06_limits_use_the_patient_even_when_another_member_is_bad():
    infant = {"birthDate": "2025-01-01"}
    posted = exam(move(198), patient=infant, status="done")
    assert errors(read(posted)) == {("/status", "shape-value", "code-invalid")}
    posted = exam(move(198), patient={"birthDate": "1969-04-11"}, status="done")
    assert found(read(posted), "limit-queried") == ["/findings/0/angle/value"]


def test_exm_10_missing_side_is_refused():
    posted = exam(move(90))
    del posted["findings"][0]["side"]
    assert errors(read(posted)) == {("/findings/0/side", "shape-missing", "required")}


def test_exm_11_unknown_member_is_refused_with_its_path():
    (problem,) = read(exam(move(90, angel=1))).problems
    assert problem.expression == "exam.findings[0].angel"
    assert problem.code == "shape-unknown-member"


def test_exm_11_unknown_member_with_an_odd_name_points_at_its_object():
    examined = read(exam(move(90, **{PRIVATE: 1})))
    assert errors(examined) == {("/findings/0", "shape-unknown-member", "structure")}
    assert PRIVATE not in str(examined.problems)


@pytest.mark.parametrize("name", ["birth_date", "dominant_hand"])
def test_exm_11_python_names_are_not_json_names(name):
    posted = exam(move(90), patient={name: "1969-04-11"})
    assert (f"/patient/{name}", "shape-unknown-member", "structure") in errors(read(posted))


def test_exm_12_posted_original_is_an_unknown_member():
    posted = exam(move(angle={**deg(150), "original": {"value": 2.6, "unit": "rad"}}))
    expected = ("/findings/0/angle/original", "shape-unknown-member", "structure")
    assert expected in errors(read(posted))
    assert expected in errors(read(posted, convert_units=True))


@pytest.mark.parametrize(
    "moment",
    [
        "2026-03-02T10:15:00",
        "2026-03-02",
        "2026-03-02T10:15+01:00",
        "2026-03-02 10:15:00Z",
        "2026-03-02T10:15:00+24:00",
        "2026-03-02T10:15:00+14:30",
        "2026-03-02T24:15:00Z",
        "2026-13-02T10:15:00Z",
        "0000-03-02T10:15:00Z",
        "2026-03-02T10:15:00Z\n",
        "٢٠٢٦-03-02T10:15:00Z",
    ],
)
def test_exm_13_moment_without_offset_or_that_does_not_exist_is_refused(moment):
    examined = read(exam(move(90), effective=moment))
    assert examined.exam is None
    assert {p.expression for p in examined.problems} == {"exam.effective"}


@pytest.mark.parametrize("moment", ["2026-03-02T10:15:00+14:00", "2026-03-02T10:15:00.123456789Z"])
def test_exm_13_moments_with_offset_are_taken_as_written(moment):
    examined = read(exam(move(90), effective=moment))
    assert examined.exam is not None
    assert examined.exam.effective == moment


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1e2", "shape-number"),
        ("1E+2", "shape-number"),
        ("-0.0", "shape-number"),
        ("1" * 13, "shape-number"),
        ("1" * 1000, "shape-number"),
        ("0." + "1" * 1000, "shape-number"),
        ("1e-400", "shape-number"),
        ("1e400000", "shape-number"),
        ('"150"', "shape-type"),
        ("true", "shape-type"),
        ("null", "shape-type"),
        ("[150]", "shape-type"),
    ],
)
def test_exm_08_numbers_that_cannot_have_been_read_are_refused(text, code):
    raw = to_json(exam(move(77777))).replace(b"77777", text.encode())
    problems = [p for p in read(raw).problems if p.pointer == "/findings/0/angle/value"]
    assert [p.code for p in problems] == [code]
    assert text not in problems[0].message


@pytest.mark.parametrize("text", ["150", "150.0", "12.50", "0", "0.5"])
def test_exm_03_numbers_keep_their_digits(text):
    raw = to_json(exam(move(77777))).replace(b"77777", text.encode())
    examined = read(raw)
    assert examined.exam is not None
    value = examined.exam.findings[0].angle.value
    assert type(value) is Decimal
    assert str(value) == text


@pytest.mark.parametrize(
    ("finding", "pointer"),
    [
        (sign("yes"), "/present"),
        (sign(1), "/present"),
        (sign(severity=11), "/severity"),
        (sign(severity="3"), "/severity"),
        (move(90, limitedBy="pain"), "/limitedBy"),
        (move(90, limitedBy=[3]), "/limitedBy/0"),
        (move(90, note=""), "/note"),
        (move(90, note="  \n"), "/note"),
        (move(90, note="bell \u0007"), "/note"),
        (move(90, note="n" * 4001), "/note"),
        (move(90, key="a/left"), "/key"),
        (move(90, key=""), "/key"),
        (move(90, kind="dance"), "/kind"),
        (move(90, joint="Shoulder"), "/joint"),
        (end("bent", 5), "/end"),
        (grip(trials={"value": 3, "unit": "kg"}), "/trials"),
        (grip(trials=[{"value": 3}]), "/trials/0/unit"),
        (move(absent={"reason": "forgot"}), "/absent/reason"),
    ],
)
def test_exm_06_wrong_shapes_have_their_pointer(finding, pointer):
    examined = read(exam(finding))
    assert examined.exam is None
    assert f"/findings/0{pointer}" in {p.pointer for p in examined.problems}


def test_exm_06_pointer_escapes_and_messages_never_repeat_what_was_posted():
    posted = exam(
        move(90, note=f"{PRIVATE} \u0000"),
        sign(site=PRIVATE),
        move(90, joint=PRIVATE.lower().replace(" ", "-"), motion=PRIVATE),
        grade(PRIVATE),
        effective=PRIVATE,
        patient={"birthDate": PRIVATE, "sex": PRIVATE, PRIVATE: PRIVATE, "identifier": PRIVATE},
        examiner={"identifier": {"system": PRIVATE, "value": f" {PRIVATE} "}},
    )
    text = str(read(posted).problems).lower()
    assert "quillfeather" not in text
    assert "1931" not in text


def test_exm_06_every_problem_has_a_way_out():
    posted = exam(move(90, motion=7), status="x", effective=1, facility=[], note=7)
    problems = read(posted).problems
    assert len(problems) == 5
    for problem in problems:
        assert problem.message.endswith(".")
        assert problem.remedy.endswith((".", ")"))
        assert "pydantic" not in str(problem).lower()


def test_exm_06_too_many_findings_and_none_are_refused():
    assert errors(read(exam())) == {("/findings", "shape-missing", "required")}
    many = exam(*(sign(key=f"k{n}") for n in range(2001)))
    assert errors(read(many)) == {("/findings", "shape-too-long", "too-long")}


def test_exm_16_long_lists_inside_a_finding_are_refused():
    assert errors(read(exam(grip(*range(1, 22))))) == {
        ("/findings/0/trials", "shape-too-long", "too-long")
    }
    assert errors(read(exam(move(90, limitedBy=["pain"] * 21)))) == {
        ("/findings/0/limitedBy", "shape-too-long", "too-long")
    }


def test_exm_15_four_kinds_of_absence_are_kept_apart():
    reasons = ("not-tested", "declined", "not-applicable", "not-examined")
    findings = [
        move(motion=motion, absent={"reason": reason})
        for motion, reason in zip(
            ("flexion", "extension", "abduction", "adduction"), reasons, strict=True
        )
    ]
    examined = read(exam(*findings))
    assert examined.exam is not None
    assert [one.absent.reason for one in examined.exam.findings] == list(reasons)


def test_null_says_the_same_as_leaving_a_member_out():
    assert read(exam(move(90, digit=None, note=None, absent=None))).exam is not None
