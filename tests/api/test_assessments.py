"""What was judged and worked out, over HTTP: with the answer, afterwards, in words, explained."""

from __future__ import annotations

import pytest
from tests.api.serving import example, raw_example

RULED = {"sentence", "rule", "ruleVersion", "sources", "evidence", "used"}


def boom(*_args, **_kwargs):
    raise AssertionError("worked out again")


@pytest.fixture
def hand(service):
    answer = service.post("/exams", raw_example("stiff-hand"))
    assert answer.status_code == 201, answer.text
    return answer.json()


def entries(answer, kind):
    return [one for one in answer["assessment"]["judged"] if one["kind"] == kind]


def leaf_keys(exam):
    for finding in exam["findings"]:
        yield finding["key"]
        yield from (f"{finding['key']}/{side}" for side in ("left", "right"))


def test_obs_11_everything_told_carries_rule_version_sources_evidence_findings_and_a_sentence(hand):
    known = set(leaf_keys(example("stiff-hand")))
    judged = hand["assessment"]["judged"]
    assert {one["kind"] for one in judged} >= {"range", "difference", "computed"}
    for one in judged:
        assert set(one) >= RULED
        assert one["rule"]
        assert one["ruleVersion"]
        assert one["sources"]
        assert one["evidence"] in ("seen", "secondary", "own")
        assert one["sentence"].endswith(".")
        assert {used["finding"] for used in one["used"]} <= known
        assert one["used"] or one.get("missing")


def test_what_stands_out_comes_first(hand):
    flags = [one["flagged"] for one in hand["assessment"]["judged"]]
    assert flags == sorted(flags, reverse=True)
    assert True in flags


def test_a_computation_that_lacks_something_says_what_and_has_no_value(service):
    told = service.post("/exams", raw_example("full-arms")).json()
    missing = [one for one in entries(told, "computed") if "missing" in one]
    assert missing
    for one in missing:
        assert one["value"] is None
        assert all("not recorded" in text or "recorded" in text for text in one["missing"])
    bundle = service.get(f"/exams/{told['id']}/bundle").text
    assert all(f'/{one["key"]}"' not in bundle for one in missing)
    assert any(f'/{one["key"]}"' in bundle for one in entries(told, "computed"))


def test_the_assessment_is_made_once_and_read_for_ever(service, hand, monkeypatch):
    monkeypatch.setattr("brachium.intake.desk.assess", boom)
    path = f"/exams/{hand['id']}"
    assert service.get(f"{path}/assessment").json() == hand["assessment"]
    assert service.get(path).json()["assessment"] == hand["assessment"]
    again = service.get(hand["links"]["assessment"].removeprefix("https://exams.example.org/arm"))
    assert again.json() == hand["assessment"]


def test_a_dry_run_tells_the_same_assessment(service, hand):
    preview = service.post("/exams?dry-run=true", raw_example("stiff-hand")).json()
    assert preview["assessment"] == hand["assessment"]


def test_cor_01_each_version_keeps_its_own_assessment_and_note(service, stored):
    changed = example("stiff-shoulder")
    finding = next(f for f in changed["findings"] if f["key"] == "shoulder-flexion-active-l")
    finding["angle"]["value"] = 97
    path = f"/exams/{stored['id']}"
    answer = service.ask(
        "PUT",
        path,
        json={"reason": "read from the wrong side", "exam": changed},
        headers={"If-Match": 'W/"1"'},
    )
    assert answer.status_code == 200, answer.text
    assert answer.json()["assessment"] != stored["assessment"]
    first = service.get(f"{path}/assessment?version=1").json()
    assert first == stored["assessment"]
    assert service.get(f"{path}/assessment").json() == answer.json()["assessment"]
    notes = [service.get(f"{path}/note?version={number}").text for number in (1, 2)]
    assert "active: 94 degrees" in notes[0]
    assert "active: 94 degrees" not in notes[1]
    assert "Changed (corrected). Reason: read from the wrong side" in notes[1]


def test_nar_01_the_note_is_the_account_of_the_stored_report_as_text(service, stored):
    answer = service.get(f"/exams/{stored['id']}/note")
    assert answer.headers["content-type"] == "text/plain; charset=utf-8"
    assert "<" not in answer.text
    assert answer.text.startswith("Examination of the arms\n")
    assert "What stands out" in answer.text
    assert "Left shoulder flexion, active: 94 degrees, below the reference used" in answer.text


def test_cor_02_the_note_of_a_withdrawn_exam_says_so_before_all_else(service, stored):
    service.ask(
        "POST",
        f"/exams/{stored['id']}/withdrawal",
        json={"reason": "wrong <person>"},
        headers={"If-Match": 'W/"1"'},
    )
    text = service.get(f"/exams/{stored['id']}/note").text
    assert "Withdrawn, must not be used. Reason: wrong <person>" in text.split("\n\n")[1]
    assert "94 degrees" in text


def test_an_explanation_holds_the_whole_chain_of_one_finding(service, stored):
    path = f"/exams/{stored['id']}/findings/shoulder-flexion-active-l/explanation"
    chain = service.get(path).json()
    assert chain["posted"]["angle"] == {"value": 94, "unit": "deg"}
    assert "limit-refused" in {rule["code"] for rule in chain["rules"]}
    (side,) = chain["sides"]
    assert (side["side"], side["judgement"]["interpretation"]) == ("left", "L")
    fits = {row["source"] for row in side["published"] if row["fits"]}
    assert fits & set(side["judgement"]["sources"])
    assert all(row["against"] for row in side["published"] if not row["fits"])
    assert side["measurementError"]["source"] in side["judgement"]["sources"]
    assert {"difference", "computed"} <= {entry["kind"] for entry in side["usedIn"]}
    told = service.get(f"/fhir/{side['observation']}").json()
    codes = {(c["system"], c["code"]) for c in told["code"]["coding"]}
    assert codes <= {(row["system"], row["code"]) for row in side["codes"]}
    assert all(row["source"] for row in side["codes"])


def test_exm_10_a_finding_about_both_sides_is_explained_for_each(service):
    exam = example("stiff-shoulder")
    finding = next(f for f in exam["findings"] if f["key"] == "shoulder-extension-active-r")
    exam["findings"] = [{**finding, "key": "ext", "side": "both"}]
    stored = service.post("/exams", exam).json()
    chain = service.get(f"/exams/{stored['id']}/findings/ext/explanation").json()
    assert [side["key"] for side in chain["sides"]] == ["ext/left", "ext/right"]
    assert all(side["codes"] for side in chain["sides"])
    # equal sides: too little to be told in the answer, and still part of the chain
    assert all(side["usedIn"][0]["kind"] == "difference" for side in chain["sides"])


@pytest.mark.parametrize(
    "path",
    [
        "/exams/{id}/findings/nobody/explanation",
        "/exams/none/findings/nobody/explanation",
        "/exams/none/assessment",
        "/exams/none/note",
        "/exams/{id}/note?version=9",
        "/exams/{id}/assessment?version=9",
    ],
)
def test_what_is_not_there_is_not_found(service, stored, path):
    assert service.get(path.format(id=stored["id"])).status_code == 404


def test_problems_of_a_finding_are_in_its_explanation_alone(service):
    exam = example("stiff-shoulder")
    # the stored content is sorted by key, the posted one is not
    exam["findings"].reverse()
    stored = service.post("/exams", exam).json()
    key = "shoulder-thumb-behind-back-active-l"
    path = f"/exams/{stored['id']}/findings/{{}}/explanation"
    chains = {
        finding["key"]: service.get(path.format(finding["key"])).json()
        for finding in exam["findings"]
    }
    told = {name for name, chain in chains.items() for one in chain["problems"]}
    assert key in told
    assert sum(len(chain["problems"]) for chain in chains.values()) == len(
        [one for one in stored["problems"] if one["pointer"].startswith("/findings/")]
    )
