"""Trends out of a store: corrections, withdrawals, drafts, and work that grows with the exams."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import jiter
import orjson
import pytest
from tests.exam.builders import exam, grade, grip, move, number

from brachium.assess import series
from brachium.assess.visits import Wanted
from brachium.exam.canonical import canonical
from brachium.exam.findings import Identifier
from brachium.exam.reading import reread
from brachium.records import ExamStatus, ExamVersion
from brachium.tables.load import load
from brachium.trend import Trends, patient_id

EVERYTHING = Wanted()


@pytest.fixture(scope="module")
def tables():
    return load()


class Shelf:
    """The one method of a store that trends use; counts how often it is asked."""

    def __init__(self, *stored: ExamVersion) -> None:
        self.stored = stored
        self.asked = 0

    def exams_of(self, patient: str) -> tuple[ExamVersion, ...]:
        self.asked += 1
        return self.stored if patient == "p" else ()


def stored(tables, place: int, *findings, status=ExamStatus.FINAL, **header) -> ExamVersion:
    """An exam version with canonical content, as the store gives it back."""
    header.setdefault(
        "effective", f"20{place // 300:02}-{1 + place // 25 % 12:02}-{1 + place % 25:02}T10:00:00Z"
    )
    posted = orjson.dumps(exam(*findings, **header), default=number)
    return ExamVersion(
        id=f"id-{place:04}",
        system="s",
        value=str(place),
        version=1,
        status=status,
        recorded="2026-03-02T10:00:00.000Z",
        content=canonical(reread(posted, tables)),
        digest="",
        problems=b"[]",
        assessment=b"{}",
        edition="2026.11",
    )


def course(tables, *versions, wanted=EVERYTHING):
    return Trends(tables, Shelf(*versions)).of("p", wanted)


def test_nobody_has_no_trend(tables):
    assert Trends(tables, Shelf()).of("p", EVERYTHING) is None
    assert Trends(tables, Shelf(stored(tables, 1, move(60)))).of("q", EVERYTHING) is None


def test_cor_02_withdrawn_exams_take_no_part_and_are_listed(tables):
    withdrawn = stored(tables, 2, move(150), status=ExamStatus.ENTERED_IN_ERROR)
    found = course(tables, stored(tables, 1, move(60)), withdrawn, stored(tables, 3, move(90)))
    assert [(one.exam.id, one.why) for one in found.left_out] == [("id-0002", "withdrawn")]
    assert [one.exam for one in found.trend.visits] == ["id-0001", "id-0003"]
    (line,) = found.trend.series
    assert [one.taken.value for one in line.points] == [60, 90]


def test_a_patient_with_withdrawn_exams_alone_has_an_empty_trend(tables):
    found = course(tables, stored(tables, 1, move(60), status=ExamStatus.ENTERED_IN_ERROR))
    assert (found.trend.visits, found.trend.series, len(found.left_out)) == ((), (), 1)


def test_drafts_count_and_are_marked(tables):
    draft = stored(tables, 2, move(90), status=ExamStatus.PRELIMINARY)
    found = course(tables, stored(tables, 1, move(60)), draft)
    assert [one.provisional for one in found.trend.visits] == [False, True]
    assert found.trend.series[0].points[1].since_previous.provisional


def test_content_that_cannot_be_read_is_listed_and_nothing_else_suffers(tables):
    broken = replace(stored(tables, 2, move(90)), content=b'{"status":"final"}')
    found = course(tables, stored(tables, 1, move(60)), broken, stored(tables, 3, move(90)))
    assert [(one.exam.id, one.why) for one in found.left_out] == [("id-0002", "unreadable")]
    assert len(found.trend.series[0].points) == 2


def test_exm_12_converted_quantities_are_read_back_as_they_were_converted(tables):
    radians = move(angle={"value": jiter.from_json(b"1.5708", float_mode="decimal"), "unit": "rad"})
    version = stored(tables, 1, radians)
    assert b'"unit":"rad"' in version.content
    (line,) = course(tables, version).trend.series
    assert str(line.points[0].taken.value) == "90.00"


def test_exm_10_both_sides_of_stored_content_are_followed_apart(tables):
    found = course(tables, stored(tables, 1, move(60, side="both")))
    assert [one.matter.side for one in found.trend.series] == ["right", "left"]


@pytest.mark.parametrize(
    ("wanted", "unknown"),
    [
        (Wanted(), []),
        (Wanted(joint="shoulder", motion="abduction"), []),
        (Wanted(test="grip"), []),
        (Wanted(joint="knee"), ["joint"]),
        (Wanted(motion="clapping"), ["motion"]),
        (Wanted(joint="elbow", motion="abduction"), ["motion"]),
        (Wanted(joint="elbow", test="grip"), ["test"]),
        (Wanted(joint="knee", motion="x", test="y"), ["joint", "motion", "test"]),
    ],
)
def test_a_wish_that_no_table_knows_is_noticed(tables, wanted, unknown):
    found = dict(Trends(tables, Shelf()).unknown(wanted))
    assert list(found) == unknown
    assert all(getattr(wanted, name) not in known for name, known in found.items())


def test_what_can_be_asked_for_instead_is_told(tables):
    asked = Trends(tables, Shelf()).unknown
    assert dict(asked(Wanted(joint="knee")))["joint"] == set(tables.joints)
    known = dict(asked(Wanted(joint="elbow", motion="abduction")))["motion"]
    assert known == {motion for joint, motion in tables.motions if joint == "elbow"}


def test_the_id_of_a_patient_is_the_one_of_the_resource():
    system, value = "https://saltmarsh.example.org/fid/patient", "P-0110"
    name = patient_id(Identifier(system=system, value=value))
    golden = Path(__file__).resolve().parents[2] / "examples" / "bundles"
    bundle = (golden / "recovering-shoulder-1.collection.json").read_text("utf-8")
    assert f"Patient/{name}" in bundle


def many(tables, exams: int) -> tuple[ExamVersion, ...]:
    """Exams that measure the same in changing ways, with a gap here and there."""
    versions = []
    for place in range(exams):
        method = ("goniometer", "visual-estimate")[place % 3 == 0]
        angle = move(60 + place % 90, method=method)
        gone = move(absent={"reason": "not-tested"}, joint="wrist", motion="flexion")
        findings = (angle, gone, grade("4"), grip(20 + place % 9, 21, 22))
        versions.append(stored(tables, place, *findings))
    return tuple(versions)


def calls(work) -> int:
    """How many functions are called, of Python and of C."""
    count = 0

    def note(_frame, event, _argument) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    sys.setprofile(note)
    try:
        work()
    finally:
        sys.setprofile(None)
    return count


def test_the_work_grows_in_a_straight_line(tables, monkeypatch):
    compared = 0
    ours = series.compare

    def counted(*arguments):
        nonlocal compared
        compared += 1
        return ours(*arguments)

    monkeypatch.setattr(series, "compare", counted)
    taken = {}
    for exams in (100, 400):
        shelf = Shelf(*many(tables, exams))
        trends = Trends(tables, shelf)
        trends.of("p", EVERYTHING)
        compared = 0
        made = calls(lambda asked=trends: asked.of("p", EVERYTHING))
        taken[exams] = made, compared
        assert shelf.asked == 2
    # every value is compared with the one before and with the first, and with no other
    assert taken[100][1] < 2 * 3 * 100
    assert 3.9 < taken[400][1] / taken[100][1] < 4.1
    assert 3.8 < taken[400][0] / taken[100][0] < 4.2
