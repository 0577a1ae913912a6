"""The account of an exam: whole, in order, quoted as written, and fit for FHIR."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from xml.etree import ElementTree as ET

from hypothesis import given, settings
from tests.assess.accounts import backwards, judged, mirrored
from tests.exam.builders import end, exam, grade, grip, move, part, read, sign, tables
from tests.exam.strategies import exams
from tests.oracles.narrative import html_faults

from brachium.assess import narrative as parts
from brachium.assess.assessment import assess
from brachium.assess.completeness import completeness
from brachium.assess.derived import Derived, Used
from brachium.assess.narrative import Narrative, conclusion, narrate
from brachium.assess.narrative_forms import plain_text, xhtml
from brachium.assess.prompts import prompts
from brachium.assess.wording import named, result, topic
from brachium.exam.leaves import leaves as leaves_of
from brachium.tables.concepts import ABSENCES, in_text


def told(posted: Any, **more: Any) -> Narrative:
    one, leaves, assessment = judged(posted)
    return narrate(
        one,
        leaves,
        assessment,
        tables(),
        prompts=prompts(leaves, assessment.ranges, tables()),
        completeness=completeness(leaves, assessment.ranges, tables()),
        **more,
    )


def section(narrative: Narrative, title: str) -> Any:
    return next(one for one in narrative.sections if one.title == title)


def shown(markup: str) -> str:
    """What a reader of the XHTML sees."""
    return "".join(ET.fromstring(markup).itertext())  # noqa: S314 - our own output


def test_right_and_left_stand_side_by_side():
    found = told(exam(move(150, method="goniometer"), move(172, side="left", limitedBy=["pain"])))
    (row,) = section(found, "Shoulders").rows
    assert row.label == "Abduction, active"
    assert row.right.startswith("150 degrees")
    assert row.right.endswith("(goniometer, neutral-zero method)")
    assert row.left == "172 degrees (limited by pain)"
    assert "- Right shoulder" not in plain_text(found)


def test_a_side_of_which_nothing_is_recorded_says_so():
    (row,) = section(told(exam(grade("4+"))), "Elbows").rows
    assert row.right == "MRC 4+, abnormal (normal: MRC 5)"
    assert row.left == "not recorded"


def test_looking_comes_before_feeling_moving_and_testing():
    found = told(
        exam(
            grade("5"),
            move(140, joint="elbow", motion="flexion"),
            sign(False, joint="elbow", site="olecranon"),
            sign(False, kind="inspection", joint="elbow", site="olecranon", sign="wound"),
        )
    )
    labels = [row.label for row in section(found, "Elbows").rows]
    assert labels == [
        "Open wound at olecranon",
        "Tenderness over olecranon",
        "Flexion, active",
        "Flexion strength",
    ]


def test_digits_are_told_as_they_were_written():
    found = plain_text(told(exam(move(Decimal("150.50")), grip(Decimal("34.40"), 36))))
    assert "150.50 degrees" in found
    assert "34.40 kgf, 36 kgf" in found


def test_what_stands_out_comes_first_with_reference_source_and_rule():
    found = told(exam(end("short-of-straight", 20), sign(severity=7)))
    assert found.sections[1].title == parts.STANDS_OUT
    extension = next(one for one in found.lines(parts.STANDS_OUT) if "elbow" in one)
    assert extension.startswith("Right elbow extension, active: 20 degrees short of straight, outs")
    assert "rule reference-range/1.1" in extension
    tender = "Tenderness over right acromioclavicular joint: tender, 7 of 10."
    assert tender in found.lines(parts.STANDS_OUT)


def test_an_unremarkable_exam_says_what_that_means():
    found = told(exam(sign(False)))
    assert found.lines(parts.STANDS_OUT) == (parts.NOTHING,)


def test_side_differences_and_computed_values_are_told():
    value = Derived(
        "lag", "lag/1.0", "shoulder", "", "right", "", "Right lag 28 deg.", ("AAOS",), "own",
        (Used("f0", "120"),), Decimal(28), "deg", flagged=True,
    )  # fmt: skip
    general = value._replace(joint="", statement="Sum of everything 7.", flagged=False)
    found = told(exam(move(120), move(170, side="left")), derived=(value, general))
    assert "Right lag 28 deg." in found.lines(parts.STANDS_OUT)
    assert "Right lag 28 deg." in found.lines("Shoulders")
    assert found.lines(parts.ALSO_COMPUTED) == ("Sum of everything 7.",)
    (difference,) = [one for one in found.lines("Shoulders") if "minus" in one]
    assert difference.startswith("Abduction, active: right minus left -50 degrees (right is 70.6 ")
    assert any("minus left -50 degrees" in one for one in found.lines(parts.STANDS_OUT))


def test_a_prompt_and_the_protocol_are_told():
    found = told(exam(sign(joint="wrist", site="snuffbox", severity=3)))
    (prompt,) = found.lines(parts.TO_CONSIDER)
    assert "tender, 3 of 10" in prompt
    assert found.lines(parts.COVERED)[0].startswith("Wrist and hand: 0 of ")


def test_what_has_no_result_is_listed_with_its_reason():
    gone = {"absent": {"reason": "not-tested", "because": "pain"}}
    found = told(
        exam(end(None, **gone), part(side="both", outcome=None, absent={"reason": "declined"}))
    )
    assert found.lines(parts.LEFT_OUT) == (
        "Right shoulder, palpation as a whole: declined by the patient.",
        "Left shoulder, palpation as a whole: declined by the patient.",
        "Right elbow extension, active: not tested (pain).",
    )


def test_notes_are_quoted_as_they_were_written():
    note = 'Half <b>moved</b> & "stopped"\r\n\tthen went on \u00e9\u6f22.'
    found = told(exam(move(150, note=note), note="Came late."))
    assert f"\u201c{note}\u201d" in plain_text(found)
    assert html_faults(xhtml(found)) == []
    assert note in shown(xhtml(found))
    assert found.lines(parts.EXAMINER_NOTE) == ("\u201cCame late.\u201d",)


def test_what_xml_cannot_hold_does_not_break_the_document():
    found = told(exam(move(150, note="before \uffff\ufffe after")))
    assert html_faults(xhtml(found)) == []
    assert "before \ufffd\ufffd after" in shown(xhtml(found))


def test_a_converted_value_shows_what_was_entered():
    one = read(exam(move(angle={"value": 2, "unit": "rad"})), convert_units=True).exam
    assert one is not None
    found = leaves_of(one, tables())
    text = plain_text(narrate(one, found, assess(one, found, tables()), tables()))
    assert "(entered as 2 rad)" in text


def test_what_must_be_read_first_comes_first_and_the_caution_last():
    found = told(exam(move(150)), first=("Withdrawn, must not be used. Reason: wrong patient.",))
    lines = plain_text(found).splitlines()
    assert lines[2] == "Withdrawn, must not be used. Reason: wrong patient."
    assert lines[-1] == parts.CAUTION
    assert conclusion(found).startswith("Withdrawn, must not be used.")


def test_the_conclusion_holds_what_stands_out_and_what_is_left_out():
    found = told(exam(grade("2"), move(absent={"reason": "declined"})))
    text = conclusion(found)
    assert "Right elbow flexion strength: MRC 2, abnormal" in text
    assert "Right shoulder abduction, active: declined by the patient." in text
    assert "\n" not in text


@settings(max_examples=25, deadline=None)
@given(exams(tables()))
def test_nothing_that_was_recorded_is_missing_from_the_account(posted):
    one, leaves, _ = judged(posted)
    found = told(posted)
    markup = xhtml(found)
    assert html_faults(markup) == []
    for text in (plain_text(found), shown(markup)):
        for leaf in leaves:
            side_cells = _cells(found, leaf)
            assert result(leaf, tables()) in side_cells
            assert result(leaf, tables()) in text
            finding = leaf.finding
            if finding.absent is not None:
                name = named(topic(leaf), leaf.side, tables())
                why = in_text(ABSENCES[finding.absent.reason])
                assert f"{name[:1].upper()}{name[1:]}: {why}" in text
            if finding.note is not None:
                assert f"\u201c{finding.note}\u201d" in text
            for quantity in _quantities(finding):
                assert f"{quantity.value:f} " in side_cells
        assert one.note is None or one.note in text


def _cells(found: Narrative, leaf: Any) -> str:
    """The cells of the side of a leaf, in the section of its joint."""
    plural = tables().joints[leaf.finding.joint].plural
    rows = section(found, plural[:1].upper() + plural[1:]).rows
    return "\n".join(getattr(row, leaf.side) for row in rows)


def _quantities(finding: Any) -> list[Any]:
    names = ("angle", "magnitude", "distance")
    single = [value for name in names if (value := getattr(finding, name, None)) is not None]
    return single + list(getattr(finding, "trials", ()))


@settings(max_examples=15, deadline=None)
@given(exams(tables()))
def test_the_order_of_findings_does_not_matter(posted):
    assert told(backwards(posted)) == told(posted)


@settings(max_examples=15, deadline=None)
@given(exams(tables()))
def test_the_columns_swap_when_left_and_right_do(posted):
    def cells(found: Narrative) -> list[tuple[str, str, str, str]]:
        return [(r.label, r.right, r.left, r.both) for s in found.sections for r in s.rows]

    swapped = [(label, left, right, both) for label, right, left, both in cells(told(posted))]
    assert cells(told(mirrored(posted))) == swapped
