"""The report carries everything in words, and what has no Observation of its own."""

from __future__ import annotations

from decimal import Decimal
from xml.etree import ElementTree as ET

from tests.coding.coded import Stamp, code
from tests.exam.builders import end, grip, move

XHTML = "{http://www.w3.org/1999/xhtml}"
TAGS = ("div", "h2", "h3", "p", "ul", "li", "table", "thead", "tbody", "tr", "th", "td")


def div(coded):
    return ET.fromstring(coded.report["text"]["div"])  # noqa: S314 - made by us


def words(coded):
    return "".join(div(coded).itertext())


def test_obs_18_every_value_side_and_absence_is_in_the_narrative():
    coded = code(
        move(Decimal("150.5")),
        move(175, side="left"),
        end("short-of-straight", 20),
        grip(34, 36),
        move(motion="extension", absent={"reason": "not-tested", "because": "pain"}),
        move(motion="flexion", absent={"reason": "not-examined", "because": "no-time"}),
        header={"note": "came by bicycle"},
    )
    text = words(coded)
    for wanted in (
        "150.5 degrees",
        "175 degrees",
        "20 degrees short of straight",
        "34 kgf, 36 kgf",
        "not tested (pain)",
        "not examined (no time)",
        "right minus left -24.5 degrees",
        "came by bicycle",
    ):
        assert wanted in text, wanted


def test_obs_18_notes_are_escaped_and_the_div_is_valid_xhtml():
    note = "<script>alert('x')</script> & \"more\" \ufffe"
    coded = code(move(150, note=note), header={"note": note})
    text = coded.report["text"]["div"]
    assert "<script" not in text
    tags = {element.tag for element in div(coded).iter()}
    assert tags <= {XHTML + name for name in TAGS}
    assert "<script>alert('x')</script>" in words(coded)


def test_the_conclusion_names_what_stands_out_and_what_is_missing():
    conclusion = code(
        move(30),
        move(175, side="left"),
        move(motion="extension", absent={"reason": "declined"}),
        move(motion="flexion", absent={"reason": "not-examined"}),
    ).report["conclusion"]
    assert "Right shoulder abduction, active: 30 degrees, below" in conclusion
    assert "right minus left -145 degrees" in conclusion
    assert "declined" in conclusion
    assert "not examined" in conclusion


def test_the_conclusion_says_when_nothing_stands_out_without_calling_it_normal():
    sign = {"kind": "palpation", "joint": "shoulder", "site": "ac-joint", "sign": "tenderness"}
    conclusion = code(sign | {"side": "left", "present": False}).report["conclusion"]
    assert "Nothing stands out" in conclusion
    assert "normal" not in conclusion.lower()


def test_exm_15_an_entry_that_was_not_examined_is_kept_word_by_word():
    finding = move(
        motion="external-rotation",
        armPosition="at-side",
        side="both",
        note="tired",
        limitedBy=["pain", "fatigue"],
        absent={"reason": "not-examined", "because": "no-time"},
    )
    coded = code(finding)
    (entry,) = [e for e in coded.report["extension"] if e["url"].endswith("not-examined")]
    members = [(part["url"], part["valueString"]) for part in entry["extension"]]
    assert ("key", "f0") in members
    assert ("side", "both") in members
    assert ("armPosition", "at-side") in members
    assert [value for name, value in members if name == "limitedBy"] == ["pain", "fatigue"]
    assert "result" not in coded.report


def test_the_parties_are_there_by_identifier_with_sex_birth_date_and_dominance():
    coded = code(move(150))
    (patient,) = coded.of("Patient")
    assert (patient["gender"], patient["birthDate"]) == ("female", "1969-04-11")
    dominant = patient["extension"][0]["valueCodeableConcept"]["coding"][0]["code"]
    assert dominant == "dominant-right"
    assert "name" not in patient
    references = [p["reference"] for p in coded.report["performer"]]
    assert references == [
        f"{kind}/{coded.of(kind)[0]['id']}" for kind in ("Practitioner", "Organization")
    ]


def test_cor_01_the_reason_of_a_correction_is_in_the_narrative():
    stamp = Stamp("2026-03-02T09:31:07.412Z", 2, "corrected", reason="sides <swapped>")
    assert "sides <swapped>" in words(code(move(150), stamp=stamp))
