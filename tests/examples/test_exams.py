"""What the examples hold: an invented clinic, no names, and the whole of the tables."""

from __future__ import annotations

import csv
import json
from datetime import datetime

import pytest
from tests.examples import golden

CLINIC = "https://saltmarsh.example.org/fid/"
EVERY_EXAM = golden.EXAMS + [path for path in golden.REFUSED if path.stem != "not-json"]
NEEDED = {
    "healthy-adult",
    "stiff-shoulder",
    "elbow-after-fracture",
    "hyperextending-elbow",
    "stiff-hand",
    "ulnar-weakness",
    "child",
    "parts-not-tested",
    "draft",
    "full-arms",
}
POINTED_AT = {
    "missing-side": "/findings/1/side",
    "beyond-hard-limit": "/findings/0/angle/value",
    "pip-on-a-thumb": "/findings/0/digit",
    "rotation-without-arm-position": "/findings/0/armPosition",
    "unknown-field": "/findings/0/angel",
    "time-without-offset": "/effective",
    "wrong-unit": "/findings/0/angle/unit",
}


def read(path):
    return json.loads(path.read_text(encoding="utf-8"))


def rows(name):
    with (golden.ROOT / "mappings" / "model" / name).open(encoding="utf-8", newline="") as lines:
        yield from csv.DictReader(line for line in lines if not line.startswith("#"))


def findings():
    return [finding for path in golden.EXAMS for finding in read(path)["findings"]]


def test_the_needed_exams_are_there():
    assert set(golden.NAMES) >= NEEDED


@pytest.mark.parametrize("path", EVERY_EXAM, ids=lambda path: path.stem)
def test_people_and_places_are_invented_identifiers_only(path):
    exam = read(path)
    parties = ("patient", "examiner", "facility", "encounter")
    for party in [exam] + [exam[name] for name in parties if name in exam]:
        assert party["identifier"]["system"].startswith(CLINIC)
    assert set(exam["patient"]) == {"identifier", "birthDate", "sex", "dominantHand"}


def test_exam_identifiers_are_unique():
    values = [read(path)["identifier"]["value"] for path in EVERY_EXAM]
    assert len(values) == len(set(values))


@pytest.mark.parametrize("joint", [row["joint"] for row in rows("joints.csv")])
def test_the_healthy_adult_is_examined_at_every_joint_and_part(joint):
    healthy = read(golden.FOLDER / "healthy-adult.json")["findings"]
    of_joint = [finding for finding in healthy if finding["joint"] == joint]
    assert {"left", "right"} <= {
        side
        for finding in of_joint
        for side in (["left", "right"] if finding["side"] == "both" else [finding["side"]])
    }


@pytest.mark.parametrize(
    ("table", "column", "kinds"),
    [("motions.csv", "motion", {"motion"}), ("strength.csv", "test", {"strength"})],
)
def test_every_motion_and_strength_test_is_used(table, column, kinds):
    used = {(one["joint"], one[column]) for one in findings() if one["kind"] in kinds}
    assert {(row["joint"], row[column]) for row in rows(table)} <= used


def test_every_site_and_sign_is_used():
    signs = [one for one in findings() if "sign" in one]
    sites = {(one["joint"], one["kind"], one["site"]) for one in signs}
    assert {(row["joint"], row["part"], row["site"]) for row in rows("sites.csv")} <= sites
    used = {(one["kind"], one["sign"]) for one in signs}
    assert {(row["part"], row["sign"]) for row in rows("signs.csv")} <= used


def test_every_reason_for_absence_is_used():
    reasons = {one["absent"]["reason"] for one in findings() if "absent" in one}
    assert reasons == {"not-tested", "declined", "not-applicable", "not-examined"}


def test_the_benchmark_exam_has_120_findings():
    assert len(read(golden.FOLDER / "full-arms.json")["findings"]) == 120


def test_the_series_is_one_patient_over_a_year():
    series = [read(path) for path in sorted(golden.FOLDER.glob("recovering-shoulder-*.json"))]
    times = [datetime.fromisoformat(exam["effective"]) for exam in series]
    assert len(series) == 6
    assert len({exam["patient"]["identifier"]["value"] for exam in series}) == 1
    assert times == sorted(times)
    assert 350 < (times[-1] - times[0]).days < 370


@pytest.mark.parametrize(("name", "pointer"), sorted(POINTED_AT.items()))
def test_refusals_point_at_the_planted_place(name, pointer):
    exam = golden.FOLDER / "refused" / f"{name}.json"
    told = json.loads(golden.problems_file(exam).read_text(encoding="utf-8"))
    assert pointer in {row["pointer"] for row in told if row["severity"] == "error"}


def test_exm_06_five_faults_are_told_at_once():
    exam = golden.FOLDER / "refused" / "five-at-once.json"
    told = json.loads(golden.problems_file(exam).read_text(encoding="utf-8"))
    assert len({row["pointer"] for row in told if row["severity"] == "error"}) >= 5


def test_every_exam_is_explained():
    text = (golden.FOLDER / "README.md").read_text(encoding="utf-8")
    told = {line.split("`")[1] for line in text.splitlines() if line.startswith("| `")}
    assert told == set(golden.NAMES)
