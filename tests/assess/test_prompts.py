"""What findings should make a reader consider, and that nothing is ever taken away by it."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from tests.assess.accounts import OTHER, backwards, judged, mirrored, swapped_key
from tests.exam.builders import end, exam, grade, move, part, sign, tables
from tests.exam.strategies import exams

from brachium.assess.prompts import NOT_AT_HAND, PROTOCOL, Prompt, left_out, prompts
from brachium.problems import BrokenTables
from brachium.tables.load import load
from brachium.tables.source import default_directory


def shown(*findings: dict[str, Any]) -> dict[str, Prompt]:
    _, leaves, assessment = judged(exam(*findings))
    found = prompts(leaves, assessment.ranges, tables())
    return {f"{one.prompt} {one.side}": one for one in found}


def seen(name: str, joint: str, site: str, **more: Any) -> dict[str, Any]:
    return sign(kind="inspection", joint=joint, site=site, sign=name, **more)


def felt(name: str, joint: str, site: str, **more: Any) -> dict[str, Any]:
    return sign(kind="palpation", joint=joint, site=site, sign=name, **more)


WARM = felt("warmth", "wrist", "wrist-joint")
SWOLLEN = felt("effusion", "wrist", "wrist-joint")
BENT = move(40, joint="wrist", motion="flexion")
PAIN = {"limitedBy": ["pain"]}
WEAK = grade("2")
FINGER = {"digit": "index"}
STRETCH = move(motion="extension", joint="finger-pip", mode="passive", end="straight", **FINGER)
# findings that show a prompt, and the prompt (rules.md section 4; the choice of findings is ours)
SHOWN = {
    "deformity seen": ("deformity right", [seen("deformity", "elbow", "olecranon")]),
    "deformity felt": ("deformity right", [felt("deformity", "wrist", "distal-radius")]),
    "deformity limits": ("deformity right", [move(90, limitedBy=["deformity"])]),
    "deformity and weakness": (
        "deformity-with-weakness right",
        [seen("deformity", "elbow", "olecranon"), WEAK],
    ),
    "stretch": (
        "painful-passive-stretch right",
        [{**STRETCH, **PAIN}, felt("swelling", "forearm", "forearm-region")],
    ),
    "stretch not borne": (
        "painful-passive-stretch right",
        [
            {k: v for k, v in STRETCH.items() if k != "end"}
            | {"absent": {"reason": "not-tested", "because": "pain"}},
            felt("tenderness", "forearm", "radial-shaft"),
        ],
    ),
    "hot joint, little motion": ("hot-swollen-joint right", [WARM, SWOLLEN, BENT]),
    "hot joint, limited": (
        "hot-swollen-joint right",
        [WARM, SWOLLEN, move(80, joint="wrist", motion="flexion", **PAIN)],
    ),
    "hot joint, not moved": (
        "hot-swollen-joint right",
        [
            WARM,
            SWOLLEN,
            part("motion", joint="wrist", absent={"reason": "declined"}, outcome=None),
        ],
    ),
    "sheath": (
        "flexor-sheath right",
        [
            seen("swelling", "hand", "whole-digit", **FINGER),
            felt("tenderness", "hand", "whole-digit", **FINGER),
        ],
    ),
    "sheath, stretch": (
        "flexor-sheath right",
        [seen("swelling", "hand", "whole-digit", **FINGER), {**STRETCH, **PAIN}],
    ),
    "wound": ("wound right", [seen("wound", "hand", "palm")]),
    "wound prevents": (
        "wound right",
        [move(absent={"reason": "not-tested", "because": "wound"})],
    ),
    "snuffbox": ("scaphoid right", [felt("tenderness", "wrist", "snuffbox")]),
    "scaphoid": ("scaphoid right", [felt("tenderness", "wrist", "scaphoid")]),
    "elbow": ("elbow-extension right", [end("short-of-straight", 20)]),
    "elevation": ("lost-elevation right", [move(60), move(120, mode="passive")]),
    "weakness": ("marked-weakness right", [WEAK]),
    "both arms": ("weakness-of-both-arms both", [grade("3"), grade("3+", side="left")]),
    "finger does not bend": (
        "lost-finger-flexion right",
        [move(0, joint="finger-dip", motion="flexion", **FINGER)],
    ),
    "finger without strength": (
        "lost-finger-flexion right",
        [grade("1", joint="finger-dip", **FINGER)],
    ),
}
# findings that come near to a prompt and do not show it
NOT_SHOWN = {
    "no deformity": ("deformity", [seen("deformity", "elbow", "olecranon", present=False)]),
    "deformity, weakness of the other arm": (
        "deformity-with-weakness",
        [seen("deformity", "elbow", "olecranon"), {**WEAK, "side": "left"}],
    ),
    "deformity, little weakness": (
        "deformity-with-weakness",
        [seen("deformity", "elbow", "olecranon"), grade("3")],
    ),
    "stretch without pain": (
        "painful-passive-stretch",
        [STRETCH, felt("swelling", "forearm", "forearm-region")],
    ),
    "hot joint that moves": (
        "hot-swollen-joint",
        [WARM, SWOLLEN, move(75, joint="wrist", motion="flexion")],
    ),
    "hot joint of the other arm": (
        "hot-swollen-joint",
        [{**WARM, "side": "left"}, SWOLLEN, BENT],
    ),
    "hot joint, stiff elsewhere": ("hot-swollen-joint", [WARM, SWOLLEN, move(60)]),
    "sheath, tender neighbour": (
        "flexor-sheath",
        [
            seen("swelling", "hand", "whole-digit", **FINGER),
            felt("tenderness", "hand", "whole-digit", digit="ring"),
        ],
    ),
    "tender radius": ("scaphoid", [felt("tenderness", "wrist", "distal-radius")]),
    "straight elbow": ("elbow-extension", [end("straight")]),
    "passive elevation lost too": ("lost-elevation", [move(60), move(119, mode="passive")]),
    "active elevation kept": ("lost-elevation", [move(170), move(175, mode="passive")]),
    "another motion kept": (
        "lost-elevation",
        [move(60), move(175, motion="flexion", mode="passive")],
    ),
    "one arm": ("weakness-of-both-arms", [grade("3"), grade("4", side="left")]),
    "grade three": ("marked-weakness", [grade("3")]),
    "finger bends": (
        "lost-finger-flexion",
        [move(10, joint="finger-dip", motion="flexion", **FINGER)],
    ),
}


@pytest.mark.parametrize("name", SHOWN)
def test_findings_show_their_prompt_with_their_values(name):
    expected, findings = SHOWN[name]
    found = shown(*findings)
    assert expected in found
    one = found[expected]
    assert [used.leaf for used in one.used] == [f"f{n}" for n in range(len(findings))]
    assert all(used.value in one.statement for used in one.used)
    assert "onsider" in one.text
    assert PROTOCOL in one.statement
    assert one.rule in one.statement
    assert one.sources[0] in tables().sources
    assert (NOT_AT_HAND in one.statement) == (one.evidence == "memory")


@pytest.mark.parametrize("name", NOT_SHOWN)
def test_findings_that_only_come_near_show_nothing(name):
    prompt, findings = NOT_SHOWN[name]
    assert prompt not in {key.split()[0] for key in shown(*findings)}


def test_every_prompt_that_can_be_shown_is_shown_here():
    asked = {row.prompt for row in tables().prompts.values() if row.scope != "none"}
    assert {expected.split()[0] for expected, _ in SHOWN.values()} == asked
    titles = {row.title for row in tables().prompts.values() if row.scope == "none"}
    assert {title for title, _ in left_out(tables())} == titles
    assert all(why for _, why in left_out(tables()))


def test_no_prompt_names_a_disease_as_a_fact():
    for row in tables().prompts.values():
        assert not row.text or row.text.startswith("If ")
        for word in ("diagnosis", "patient has", "is fractured", "discharge"):
            assert word not in row.text


@settings(max_examples=20, deadline=None)
@given(exams(tables()))
def test_left_and_right_swap_and_order_does_not_matter(posted):
    _, leaves, assessment = judged(posted)
    found = prompts(leaves, assessment.ranges, tables())
    _, leaves, assessment = judged(backwards(posted))
    assert prompts(leaves, assessment.ranges, tables()) == found
    _, leaves, assessment = judged(mirrored(posted))
    other = prompts(leaves, assessment.ranges, tables())

    def what(one: Prompt, side: str, keys: list[str]) -> tuple[object, ...]:
        return one.prompt, one.joint, one.digit, side, tuple(sorted(keys))

    here = {what(one, one.side, [used.leaf for used in one.used]) for one in found}
    there = {
        what(one, OTHER[one.side], [swapped_key(used.leaf) for used in one.used]) for one in other
    }
    assert here == there


@settings(max_examples=20, deadline=None)
@given(exams(tables()))
def test_taking_findings_away_never_adds_a_prompt(posted):
    """The same the other way round: a finding more, normal or not, hides no prompt."""
    _, leaves, assessment = judged(posted)
    every = {one[:1] + one[4:7] for one in prompts(leaves, assessment.ranges, tables())}
    for most in range(0, len(leaves), 3):
        some = prompts(leaves[:most], assessment.ranges, tables())
        assert {one[:1] + one[4:7] for one in some} <= every


TRIGGER_FAULTS = {
    "word": ("triggers", ",present,", ",perhaps,", "'perhaps'"),
    "kind": ("triggers", ",inspection,", ",hearsay,", "kind 'hearsay'"),
    "never": ("triggers", ",elbow,extension,,,short", ",elbow,extension,,,present", "never holds"),
    "limiter": ("triggers", "limited-by-pain", "limited-by-boredom", "limiter 'boredom'"),
    "site": ("triggers", "snuffbox scaphoid", "snuffbox cubital", "site 'cubital'"),
    "number twice": ("triggers", ",below,3", ",below at-least,3", "need each other"),
    "number": ("triggers", ",below,3", ",below,", "need each other"),
    "item": ("triggers", ",elbow,extension", ",elbow,twisting", "'twisting'"),
    "prompt": ("triggers", "\nwound,wound", "\nwounds,wound", "prompt 'wounds'"),
    "scope": ("prompts", ",both-sides,", ",somewhere,", "scope 'somewhere'"),
    "consider": ("prompts", "consider a radiograph", "take a radiograph", "does not say consider"),
    "also": ("prompts", ",BOAST_10,OWN_PROPOSAL", ",BOAST_10,HEARSAY", "'HEARSAY'"),
    "no reason": ("prompts", ",Symptoms away from the arm are not part of an exam.", ",", "reason"),
}


@pytest.mark.parametrize("name", TRIGGER_FAULTS)
def test_a_planted_fault_of_a_prompt_stops_the_start(tmp_path: Path, name: str):
    table, old, new, said = TRIGGER_FAULTS[name]
    copy = Path(shutil.copytree(default_directory(), tmp_path / "mappings"))
    file = copy / f"reference/{table}.csv"
    text = file.read_text(encoding="utf-8")
    assert old in text
    if name == "consider":
        text = text.replace("so consider a review", "so plan a review")
    file.write_text(text.replace(old, new), encoding="utf-8", newline="")
    with pytest.raises(BrokenTables) as stopped:
        load(copy)
    assert said in str(stopped.value)
