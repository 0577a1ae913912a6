"""The recovering shoulder of the examples: every step worked out by hand with the table's error.

Shoulder by one examiner: more than 10 degrees (errors.csv, own proposal); levels of the back: more
than one (EDWARDS_2002, seen); strength: from a whole grade on (own proposal); behind the head: from
one step on (own proposal). The values stand beside each row.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.assess.courses import course, only, tables

from brachium.assess.visits import visit_of
from brachium.exam.leaves import leaves
from brachium.exam.reading import reread

FOLDER = Path(__file__).resolve().parents[2] / "examples"
LETTERS = {"I": "improved", "W": "worse", "N": "no-detectable-change", "X": "not-comparable"}


@pytest.fixture(scope="module")
def found():
    visits = []
    for number in range(1, 7):
        content = (FOLDER / f"recovering-shoulder-{number}.json").read_bytes()
        exam = reread(content, tables())
        visits.append(
            (visit_of(exam, f"EX-{number}", 1, "final", "preliminary"), leaves(exam, tables()))
        )
    return course(*visits)


STEPS = {
    # what: since the exam before, since the first
    # 92 104 121 139 154 165: 12 17 18 15 11; 12 29 47 62 73
    ("flexion", "active", ""): ("IIIII", "IIIII"),
    # 62 72 91 112 138 157: 10 19 21 26 19; 10 29 50 76 95
    ("abduction", "active", ""): ("NIIII", "NIIII"),
    # 8 14 24 36 49 57: 6 10 12 13 8; 6 16 28 41 49
    ("external-rotation", "active", "at-side"): ("NNIIN", "NIIII"),
    # 44 46 50 55 58 61: 2 4 5 3 3; 2 6 11 14 17
    ("internal-rotation", "active", "at-side"): ("NNNNN", "NNIII"),
    # 96 108 125 143 158 169: 12 17 18 15 11
    ("flexion", "passive", ""): ("IIIII", "IIIII"),
    # 11 17 27 39 52 60: 6 10 12 13 8; 6 16 28 41 49
    ("external-rotation", "passive", "at-side"): ("NNIIN", "NIIII"),
    # buttock 19, sacrum 18, L4 16, L1 13, T12 12, T10 10: 1 2 3 1 2; 1 3 6 7 9 levels up
    ("thumb-behind-back", "active", ""): ("NIINI", "NIIII"),
    # partial 1, partial 1, elbow-forward 2, 2, full 3, 3
    ("hand-behind-head", "active", ""): ("NININ", "NIIII"),
    # MRC 4 4 4+ 4+ 5- 5: a whole grade only from the first to the last
    ("abduction", "", ""): ("NNNNN", "NNNNI"),
    ("external-rotation", "", ""): ("NNNNN", "NNNNI"),
}


@pytest.mark.parametrize(("item", "mode", "arm"), STEPS)
def test_the_recovering_side_step_by_step(found, item, mode, arm):
    series = only(found, item=item, mode=mode, arm_position=arm, side="right")
    before, first = STEPS[item, mode, arm]
    points = series.points[1:]
    assert len(series.points) == 6
    assert series.gaps == ()
    assert [one.since_previous.verdict for one in points] == [LETTERS[one] for one in before]
    assert [one.since_first.verdict for one in points] == [LETTERS[one] for one in first]
    assert [one.unlike for one in points] == [None] * 5


def test_the_sound_side_stays_as_it_is(found):
    left = [one for one in found.series if one.matter.side == "left"]
    assert len(left) == 8
    for series in left:
        assert {one.since_previous.verdict for one in series.points[1:]} == {LETTERS["N"]}
        assert {one.since_first.verdict for one in series.points[1:]} == {LETTERS["N"]}


def test_nothing_else_is_said_and_everything_is_in_the_order_of_time(found):
    assert len(found.series) == len(STEPS) + 8
    assert found.unread == ()
    assert [one.exam for one in found.visits] == [f"EX-{number}" for number in range(1, 7)]
    for series in found.series:
        assert [one.taken.visit for one in series.points] == list(found.visits)
        for point in series.points[1:]:
            for change in (point.since_previous, point.since_first):
                assert change.statement.endswith(f"(rule {change.rule}).")
                assert change.sources
                assert set(change.sources) <= set(tables().sources)
                assert change.before.visit in found.visits
