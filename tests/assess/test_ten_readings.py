"""The service against judgements worked by hand; ten_readings.json shows arithmetic and sources.

The readings were made from the published figures before the service was asked. Every one goes in
as a dry run of the whole application; what is compared is the assessment of the answer.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest
from tests.api.serving import Serving, example

READINGS = json.loads(Path(__file__).with_name("ten_readings.json").read_text())["readings"]
CENT = Decimal("0.01")
SCHEMES = {
    "by_percent": "ASSH",
    "by_degrees": "Eaton",
    "strickland_band": "Strickland-Glogovac 1980",
}


def asked_for(what):
    chosen = [one for one in READINGS if one["asks"] == what]
    assert chosen, f"no reading asks for {what}"
    return pytest.mark.parametrize("reading", chosen, ids=[one["id"] for one in chosen])


def test_there_are_more_than_ten_readings_and_each_shows_its_work():
    assert len(READINGS) >= 10
    assert len({one["id"] for one in READINGS}) == len(READINGS)
    assert all(one["worked"] and one["sources"] and one["expected"] for one in READINGS)
    here = Path(__file__).read_text()
    assert {one["asks"] for one in READINGS} == {
        line.split('"')[1] for line in here.splitlines() if line.startswith("@asked_for")
    }


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("readings") / "test.sqlite3") as serving:
        yield serving


@pytest.fixture(scope="module")
def answer(service):
    """Ask for the assessment of an example, changed as the reading says."""

    def ask(name, changed=None):
        exam = example(name)
        exam["patient"] |= changed or {}
        reply = service.post("/exams?dry-run=true", exam)
        assert reply.status_code == 200, reply.text
        return json.loads(reply.content, parse_float=Decimal, parse_int=Decimal)["assessment"]

    return ask


def entries(told, kind, key=""):
    return [one for one in told["judged"] if one["kind"] == kind and one["key"].startswith(key)]


def entry(told, kind, key):
    """The only entry whose key is this, or begins with it and a slash or a hyphen."""
    found = [
        one for one in entries(told, kind, key) if one["key"][len(key) :][:1] in ("", "/", "-")
    ]
    assert len(found) == 1, (key, [one["key"] for one in found])
    return found[0]


def computed(told, name, where, qualifier=""):
    found = [
        one
        for one in entries(told, "computed", f"computed/{name}/{where}/")
        if one["key"].rsplit("/", 1)[1].startswith(qualifier)
    ]
    assert len(found) <= 1, [one["key"] for one in found]
    return found[0] if found else None


def near(value, expected, step):
    assert abs(Decimal(value) - Decimal(expected)) <= step, (value, expected)


@asked_for("ranges")
def test_a_value_against_its_reference(reading, answer):
    told = answer(reading["exam"], reading.get("changed"))
    for key, expected in reading["expected"].items():
        found = entry(told, "range", key)
        assert found["interpretation"] == expected["interpretation"], key
        assert found["flagged"] is (expected["interpretation"] != "N"), key
        book = found.get("handbook")
        for ours, theirs in (("handbook", "fullRange"), ("deficit", "deficit")):
            if ours in expected:
                assert book[theirs] == Decimal(expected[ours]), key
        if "percent" in expected:
            wanted = expected["percent"]
            assert book["percent"] == (None if wanted is None else Decimal(wanted)), key
        if expected["z"] is None:
            assert not {"z", "percentile"} & found.keys(), key
        else:
            near(found["z"], expected["z"], CENT)
            near(found["percentile"], expected["percentile"], 1)
        if "beyond" in expected:
            over = found["value"] > found["high"]
            assert (over, found["value"] < found["low"]) == (
                expected["beyond"] == "high",
                expected["beyond"] == "low",
            ), key


@asked_for("sides")
def test_one_side_against_the_other(reading, answer):
    told = answer(reading["exam"])
    for what, expected in reading["expected"].items():
        joint, motion, mode = what.split("-")
        found = entries(told, "difference", f"side-difference/{joint}/-/{motion}/{mode}/")
        # an answer tells the differences that stand out, and no others
        assert bool(found) is expected["flagged"], what
        if not found:
            continue
        (one,) = found
        assert one["value"] == Decimal(expected["difference"]), what
        assert (one["low"], one["high"]) == (
            -Decimal(expected["error"]),
            Decimal(expected["error"]),
        )
        if expected["percent"] is None:
            assert "percent" not in one["sentence"], what
            assert expected["says"] in one["sentence"], what
        else:
            assert f"right is {expected['percent']} percent of left" in one["sentence"], what
            assert expected["less"] == ("right" if one["value"] < 0 else "left")


@asked_for("sides")
def test_a_difference_within_the_error_is_explained_when_asked_for(reading, service):
    stored = service.post("/exams", example(reading["exam"]))
    assert stored.status_code in (200, 201), stored.text
    small = {k: v for k, v in reading["expected"].items() if not v["flagged"]}
    assert small
    for what, expected in small.items():
        path = f"/exams/{stored.json()['id']}/findings/{what}-r/explanation"
        reply = service.get(path)
        assert reply.status_code == 200, (path, reply.text)
        told = reply.text
        assert f"right minus left {expected['difference']} degrees" in told
        assert f"right is {expected['percent']} percent of left" in told
        assert f"no more than measuring alone explains, {expected['error']} degrees" in told


@asked_for("arcs")
def test_the_arc_and_the_window_of_an_elbow(reading, answer):
    told = answer(reading["exam"])
    for side, expected in reading["expected"]["flexion"].items():
        arc = computed(told, "arc-of-motion", f"elbow/-/{side}", "extension-flexion-active")
        assert arc["value"] == Decimal(expected["arc"])
        assert f"extension/flexion {expected['notation']}." in arc["sentence"]
        window = computed(told, "functional-window", f"elbow/-/{side}", "elbow-bending-active")
        # the window is 100 degrees wide: degrees covered are percent
        assert window["value"] == Decimal(expected["covered_degrees"])
        assert ("not all of it" not in window["sentence"]) is expected["covered"]
    for side, expected in reading["expected"]["rotation"].items():
        arc = computed(told, "arc-of-motion", f"forearm/-/{side}", "supination-pronation-active")
        assert arc["value"] == Decimal(expected["total"])
        window = computed(told, "functional-window", f"forearm/-/{side}")
        assert ("not all of it" not in window["sentence"]) is expected["covered"]


@asked_for("hand")
def test_the_motion_of_fingers_in_both_gradings(reading, answer):
    told = answer(reading["exam"])
    for where, expected in reading["expected"].items():
        digit, side = where.split()
        total = computed(told, "total-active-motion", f"hand/{digit}/{side}", "active")
        percent = computed(told, "strickland-percentage", f"hand/{digit}/{side}", "active")
        assert total["value"] == Decimal(expected["total"])
        share = Decimal(total["sentence"].split(" deg, ")[1].split(" %")[0])
        near(share, expected["percent"], Decimal("0.05"))
        assert percent["value"] == Decimal(expected["strickland"])
        words = {one["scheme"]: one["word"] for one in total["gradings"] + percent["gradings"]}
        for name, scheme in SCHEMES.items():
            assert words[scheme] == expected[name], (where, scheme)


def standing(told, side, expected):
    """The figures of one hand against its references."""
    where = f"hand/-/{side}"
    for name, ours in (("force-mean-of-three", "mean"), ("force-best-of-three", "best")):
        if ours in expected:
            near(computed(told, name, where, "grip")["value"], expected[ours], CENT / 2)
    if "cv" in expected:
        near(computed(told, "force-variation", where, "grip")["value"], expected["cv"], CENT)
    among_means(computed(told, "force-z-score", where, "grip"), expected)
    among_bests(computed(told, "force-percentile", where, "grip"), expected)


def among_means(z, expected):
    """A z-score exists just where the reading has one."""
    if expected.get("z_mean") is None:
        assert z is None
    else:
        near(z["value"], expected["z_mean"], CENT)
    if "percentile_mean" in expected:
        said = Decimal(z["sentence"].split("(percentile ")[1].split(" of a normal")[0])
        near(said, expected["percentile_mean"], Decimal("0.5"))


def among_bests(best, expected):
    """The z-score and the place between the published percentiles."""
    if "z_best" in expected and expected["z_best"] is None:
        assert best is None
    elif "z_best" in expected:
        near(best["sentence"].split("(z-score ")[1].split(")")[0], expected["z_best"], CENT)
    if "percentile_between" in expected:
        low, high = map(Decimal, expected["percentile_between"])
        assert low <= best["value"] <= high
        assert "comparator" not in best
    if "percentile_below" in expected:
        assert (best["comparator"], best["value"]) == ("<", Decimal(expected["percentile_below"]))


@asked_for("grip")
def test_grip(reading, answer):
    told = answer(reading["exam"])
    expected = reading["expected"]
    low = computed(told, "low-force", "hand/-/both", "grip")
    for side in ("right", "left"):
        if expected[side] is None:
            assert computed(told, "force-best-of-three", f"hand/-/{side}", "grip") is None
            continue
        standing(told, side, expected[side])
        if expected[side]["low"] is None:
            # too young for any statement, or a hand that does not count for it
            assert low is None or f"not counted {side}" in low["sentence"]
        else:
            assert low["flagged"] is expected[side]["low"]
            assert f"({side}, best of 3)" in low["sentence"]
            assert (low["interpretation"] == "L") is expected[side]["low"]
    sides = computed(told, "force-side-difference", "hand/-/both", "grip")
    corrected = computed(told, "force-dominance-corrected", "hand/-/both", "grip")
    wanted = expected["sides"] or {}
    if "percent" in wanted:
        assert f"the weaker is {wanted['percent']} % of the stronger" in sides["sentence"]
    else:
        assert sides["value"] is None
        assert sides["missing"]
    if wanted.get("corrected"):
        assert corrected["value"] == Decimal(wanted["corrected"])
        assert "best of three" in corrected["sentence"]
    else:
        assert corrected is None


@asked_for("scores")
def test_scores(reading, answer):
    told = answer(reading["exam"])
    for name, expected in reading["expected"].items():
        for side in {"right", "left", "both"} & expected.keys():
            (found,) = [
                one
                for one in entries(told, "computed", f"computed/{name}/")
                if f"/{side}/" in one["key"]
            ]
            wanted = expected[side]
            assert found["value"] == (None if wanted is None else Decimal(wanted))
            for words in expected.get("missing", {}).get(side, ()):
                assert any(words in one for one in found["missing"]), (side, words)
            assert wanted is None or "missing" not in found


@asked_for("lag")
def test_lag_or_contracture(reading, answer):
    for exam, expected in reading["expected"].items():
        told = answer(exam)
        for where, wanted in expected.items():
            joint, *digit, side = where.split()
            place = f"{joint}/-/{side}"
            if digit:
                place = f"{joint}/{digit[0]}/{side}"
            found = computed(told, "active-passive-lag", place, "extension")
            word = " and ".join(one["word"] for one in found.get("gradings", ()))
            assert ("lag" in word, "contracture" in word) == (wanted["lag"], wanted["contracture"])
            assert found["flagged"] is bool(word)
            if wanted["lag"]:
                assert found["value"] == Decimal(wanted["size"])
            if wanted["contracture"]:
                assert f"passive {wanted['size']} deg short of straight" in found["sentence"]


@asked_for("weakness")
def test_the_nerve_behind_weakness(reading, answer):
    told = answer(reading["exam"])
    expected = reading["expected"]["left"]
    assert reading["expected"]["right"] is None
    (found,) = entries(told, "weakness")
    assert found["key"] == "weakness/left"
    nerves = {one["name"]: one for one in found["candidates"] if one["kind"] == "nerve"}
    first = next(one for one in nerves.values() if one["rank"] == 1)
    assert first["name"] == expected["first_nerve"]
    assert first["fits"] is True
    assert [one["rank"] for one in nerves.values()].count(1) == 1
    assert len(first["explained"]) == expected["explained"]
    assert len(first["contradicting"]) == expected["contradicting"]
    assert len(first["explained"]) + len(found["unlisted"]) == expected["weak"]
    assert len(found["unlisted"]) == expected["unlisted"]
    assert [name for name, one in nerves.items() if one["contradicting"]] == expected[
        "contradicted"
    ]
    assert [n["name"] for n in found["candidates"] if n["kind"] == "root"] == expected["roots"]
    assert "onsistent with ulnar nerve" in found["sentence"]


@asked_for("completeness")
def test_what_was_left_undone(reading, answer):
    told = answer(reading["exam"])["completeness"]
    cells = {(one["joint"], one["side"], one["part"]): one for one in told["cells"]}
    for where, parts in reading["expected"].items():
        for part, (state, outcome) in parts.items():
            found = cells[(*where.split(), part)]
            assert (found["state"], found["outcome"]) == (state, outcome), (where, part)
    for where, reason in reading["reasons"].items():
        assert any(reason in one for one in cells[tuple(where.split())]["reasons"]), where


@asked_for("prompts")
def test_what_should_make_a_reader_think(reading, answer):
    for exam, expected in reading["expected"].items():
        shown = entries(answer(exam), "prompt")
        names = {one["key"].split("/")[1] for one in shown}
        assert names == set(expected["shown"]), exam
        assert not names & set(expected["not_shown"])
        for one in shown:
            assert one["key"].split("/")[2] == "left"
            assert "consider" in one["sentence"].lower()
            assert "local protocol" in one["sentence"]


@asked_for("change")
def test_change_between_two_exams(reading, tmp_path):
    with Serving(tmp_path / "test.sqlite3") as service:
        for name in reading["exams"]:
            assert service.post("/exams", example(name)).status_code == 201
        person = example(reading["exams"][0])["patient"]["identifier"]
        reply = service.post("/patients/trend", {"identifier": person})
        assert reply.status_code == 200, reply.text
    series = {one["points"][-1]["finding"]: one for one in reply.json()["series"]}
    for key, expected in reading["expected"].items():
        change = series[key]["points"][-1]["sincePrevious"]
        assert change["verdict"] == expected["change"], key
        assert change["delta"] == int(expected["delta"]), key
        assert change["detectable"] == 10, key
