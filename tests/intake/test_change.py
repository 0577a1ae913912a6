"""Corrections and withdrawals: what gets a new version, with which status, and what stays."""

from __future__ import annotations

import json

import pytest
from tests.intake.desks import intake
from tests.intake.exams import exam, finding, raw, without

from brachium.intake.receipt import Outcome
from brachium.records import ExamStatus


def started(content=None):
    desk = intake()
    return desk, desk.receive(raw(content or exam())).exam.id


def named(desk, exam_id, version=None):
    """Every resource with a status by the tail of its identifier: (version, status, content)."""
    found = {}
    for row in desk.desk.store.resources(exam_id, version):
        content = json.loads(row.text)
        if row.type in ("Observation", "DiagnosticReport"):
            tail = content["identifier"][0]["value"].partition("/")[2] or "report"
            found[tail] = (row.version, content["status"], content)
    return found


def short(desk, exam_id, version=None):
    return {key: value[:2] for key, value in named(desk, exam_id, version).items()}


def difference_key(desk, exam_id):
    (key,) = [key for key, value in named(desk, exam_id, 1).items() if "derivedFrom" in value[2]]
    return key


def correct(desk, exam_id, content, reason="read wrongly", expected=1):
    return desk.correct(exam_id, raw(content), reason, expected)


def test_cor_01_a_correction_needs_a_reason() -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    receipt = correct(desk, exam_id, changed, reason="  ")
    assert receipt.outcome is Outcome.REFUSED
    assert [problem.code for problem in receipt.problems if problem.severity == "error"] == [
        "reason-missing"
    ]
    assert desk.desk.store.exam(exam_id).version == 1


def test_cor_01_a_changed_value_is_corrected_and_the_first_version_is_intact() -> None:
    desk, exam_id = started()
    before = desk.desk.store.resources(exam_id, 1)
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    receipt = correct(desk, exam_id, changed)
    assert receipt.outcome is Outcome.CHANGED
    assert receipt.exam.status is ExamStatus.CORRECTED
    assert receipt.exam.reason == "read wrongly"
    version, status, content = named(desk, exam_id)["abduction-r"]
    assert (version, status, content["valueQuantity"]["value"]) == (2, "corrected", 160)
    assert desk.desk.store.resources(exam_id, 1) == before


@pytest.mark.parametrize(
    ("member", "value"),
    [("note", "second look"), ("method", "inclinometer"), ("position", "standing")],
)
def test_cor_01_a_changed_qualifier_amends(member, value) -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "abduction-r")[member] = value
    receipt = correct(desk, exam_id, changed)
    assert receipt.exam.status is ExamStatus.AMENDED
    after = short(desk, exam_id)
    assert after["abduction-r"] == (2, "amended")
    assert after["report"] == (2, "amended")
    assert after["panel/shoulder"] == (2, "amended")


def test_cor_01_what_did_not_change_keeps_status_version_and_text() -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    correct(desk, exam_id, changed)
    after = short(desk, exam_id)
    for key in ("abduction-l", "tender", "grip", "biceps", "panel/elbow", "panel/hand"):
        assert after[key] == (1, "final"), key
    assert after["rotation"] == (1, "cancelled")
    texts = [{row.id: row.text for row in desk.desk.store.resources(exam_id, n)} for n in (1, 2)]
    kept = [key for key in texts[0] if texts[0][key] == texts[1].get(key)]
    assert len(kept) == len(texts[0]) - 4  # value, difference, panel, report


def test_cor_01_a_side_entered_wrongly_is_a_correction() -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "biceps")["side"] = "right"
    correct(desk, exam_id, changed)
    version, status, content = named(desk, exam_id)["biceps"]
    assert (version, status) == (2, "corrected")
    assert "Right" in content["bodySite"]["text"]


def test_cor_01_a_value_that_turns_out_not_tested_corrects_the_exam() -> None:
    desk, exam_id = started()
    changed = exam()
    bare = finding(changed, "abduction-r")
    del bare["angle"]
    bare["absent"] = {"reason": "declined"}
    receipt = correct(desk, exam_id, changed)
    after = short(desk, exam_id)
    assert receipt.exam.status is ExamStatus.CORRECTED
    assert after["abduction-r"] == (2, "cancelled")
    assert after["panel/shoulder"] == (2, "corrected")
    assert after[difference_key(desk, exam_id)] == (2, "entered-in-error")


def test_cor_01_a_finding_that_was_forgotten_is_final_and_amends_the_exam() -> None:
    whole = exam()
    desk, exam_id = started(without(exam(), "biceps"))
    receipt = correct(desk, exam_id, whole, reason="forgotten")
    after = short(desk, exam_id)
    assert receipt.exam.status is ExamStatus.AMENDED
    assert after["biceps"] == (1, "final")
    assert after["panel/elbow"] == (1, "final")


def test_cor_01_the_same_content_again_makes_no_version() -> None:
    desk, exam_id = started()
    receipt = correct(desk, exam_id, exam())
    assert receipt.outcome is Outcome.SAME
    assert desk.desk.store.exam(exam_id).version == 1


def test_cor_01_a_later_correction_leaves_an_earlier_one_standing() -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    correct(desk, exam_id, changed)
    finding(changed, "biceps")["note"] = "second look"
    receipt = correct(desk, exam_id, changed, expected=2)
    after = short(desk, exam_id)
    assert receipt.exam.status is ExamStatus.AMENDED
    assert after["abduction-r"] == (2, "corrected")
    assert after["panel/shoulder"] == (2, "corrected")
    assert after["biceps"] == (2, "amended")
    assert after["report"] == (3, "amended")


def test_cor_02_a_removed_finding_stays_linked_as_entered_in_error() -> None:
    desk, exam_id = started()
    correct(desk, exam_id, without(exam(), "tender"))
    version, status, content = named(desk, exam_id)["tender"]
    assert (version, status) == (2, "entered-in-error")
    assert content["component"][0]["valueQuantity"]["value"] == 6
    panel = named(desk, exam_id)["panel/shoulder"]
    assert panel[1] == "corrected"
    assert content["id"] not in json.dumps(panel[2]["hasMember"])


def test_cor_02_withdrawal_enters_everything_in_error_and_keeps_the_content() -> None:
    desk, exam_id = started()
    before = named(desk, exam_id)
    receipt = desk.withdraw(exam_id, "wrong patient <b>", 1)
    after = named(desk, exam_id)
    assert receipt.exam.status is ExamStatus.ENTERED_IN_ERROR
    assert receipt.exam.content == desk.desk.store.exam(exam_id, 1).content
    assert {value[:2] for value in after.values()} == {(2, "entered-in-error")}
    for key, (_, _, content) in before.items():
        if key != "report":
            changed = {**after[key][2], "status": content["status"]}
            changed |= {"meta": content["meta"], "issued": content["issued"]}
            assert changed == content
    report = after["report"][2]
    assert report["conclusion"].startswith("This examination was withdrawn")
    assert "wrong patient <b>" in report["conclusion"]
    assert "wrong patient &lt;b&gt;" in report["text"]["div"]
    assert "150 deg" in report["text"]["div"]


def test_cor_02_withdrawal_needs_a_reason_and_the_version() -> None:
    desk, exam_id = started()
    assert desk.withdraw(exam_id, "", 1).problems[0].code == "reason-missing"
    assert desk.withdraw(exam_id, "a\x0bb", 1).problems[0].code == "reason-unreadable"
    assert desk.withdraw(exam_id, "why", None).problems[0].code == "expected-version-missing"
    assert desk.withdraw(exam_id, "why", 7).outcome is Outcome.STALE
    assert desk.withdraw("no-such-exam", "why", 1).outcome is Outcome.MISSING
    assert desk.desk.store.exam(exam_id).version == 1


def test_cor_03_a_difference_follows_its_source() -> None:
    desk, exam_id = started()
    key = difference_key(desk, exam_id)
    assert named(desk, exam_id)[key][2]["valueQuantity"]["value"] == -25
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    correct(desk, exam_id, changed)
    version, status, content = named(desk, exam_id)[key]
    assert (version, status, content["valueQuantity"]["value"]) == (2, "corrected", -15)


def test_cor_03_a_difference_without_its_source_is_entered_in_error_and_can_return() -> None:
    desk, exam_id = started()
    key = difference_key(desk, exam_id)
    correct(desk, exam_id, without(exam(), "abduction-r"))
    assert short(desk, exam_id)[key] == (2, "entered-in-error")
    again = exam()
    finding(again, "abduction-r")["key"] = "abduction-r-2"
    correct(desk, exam_id, again, expected=2)
    after = short(desk, exam_id)
    assert after["abduction-r-2"] == (1, "final")
    assert after["abduction-r"] == (2, "entered-in-error")
    valid = [value for value in named(desk, exam_id).values() if "derivedFrom" in value[2]]
    assert [one[2]["valueQuantity"]["value"] for one in valid if one[1] != "entered-in-error"] == [
        -25
    ]


def test_cor_04_a_finding_entered_in_error_does_not_return_under_its_key() -> None:
    desk, exam_id = started()
    correct(desk, exam_id, without(exam(), "tender"))
    receipt = correct(desk, exam_id, exam(), expected=2)
    assert receipt.outcome is Outcome.REFUSED
    assert [(p.code, p.pointer) for p in receipt.problems] == [("status-step", "/findings/2/key")]


def test_cor_06_the_provenance_of_a_correction_points_to_what_it_revises() -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    correct(desk, exam_id, changed)
    records = [
        json.loads(row.text)
        for row in desk.desk.store.resources(exam_id)
        if row.type == "Provenance"
    ]
    assert len(records) == 2
    (record,) = [one for one in records if one["activity"]["coding"][0]["code"] == "UPDATE"]
    assert record["reason"][0]["text"] == "read wrongly"
    observation = named(desk, exam_id)["abduction-r"][2]["id"]
    targets = {one["reference"] for one in record["target"]}
    revised = {one["what"]["reference"] for one in record["entity"] if one["role"] == "revision"}
    assert f"Observation/{observation}/_history/2" in targets
    assert f"Observation/{observation}/_history/1" in revised
    untouched = named(desk, exam_id)["grip"][2]["id"]
    assert untouched not in json.dumps(record["target"])


def test_cor_06_a_withdrawal_has_a_provenance_of_its_own() -> None:
    desk, exam_id = started()
    desk.withdraw(exam_id, "wrong patient", 1)
    (record,) = [
        json.loads(row.text)
        for row in desk.desk.store.resources(exam_id)
        if row.type == "Provenance"
    ]
    assert record["activity"]["coding"][0]["code"] == "NULLIFY"
    assert len(record["target"]) == len(named(desk, exam_id))


@pytest.mark.parametrize(
    ("member", "code"), [("identifier", "exam-identifier-changed"), ("patient", "patient-changed")]
)
def test_cor_07_neither_exam_nor_patient_can_be_exchanged(member, code) -> None:
    desk, exam_id = started()
    other = exam()
    target = other["patient"]["identifier"] if member == "patient" else other["identifier"]
    target["value"] = "OTHER"
    receipt = correct(desk, exam_id, other)
    assert receipt.outcome is Outcome.REFUSED
    assert code in [problem.code for problem in receipt.problems]
    assert "OTHER" not in "".join(problem.message for problem in receipt.problems)


def test_cor_07_a_wrong_patient_is_withdrawn_and_entered_anew() -> None:
    desk, exam_id = started()
    desk.withdraw(exam_id, "wrong patient", 1)
    right = exam()
    right["identifier"]["value"] = "EX-NEW"
    right["patient"]["identifier"]["value"] = "P-10"
    assert desk.receive(raw(right)).outcome is Outcome.CREATED
    assert desk.desk.store.exam(exam_id).status is ExamStatus.ENTERED_IN_ERROR


def test_facts_of_the_patient_can_be_corrected_and_what_rests_on_them_is_amended() -> None:
    desk, exam_id = started()
    changed = exam()
    changed["patient"]["birthDate"] = "2019-04-11"
    receipt = correct(desk, exam_id, changed)
    assert receipt.outcome is Outcome.CHANGED
    (patient,) = [row for row in desk.desk.store.resources(exam_id) if row.type == "Patient"]
    assert patient.version == 2
    assert receipt.exam.status is ExamStatus.AMENDED


def test_a_withdrawal_does_not_bring_old_facts_of_the_patient_back() -> None:
    desk, exam_id = started()
    newer = exam(identifier={"system": "urn:x", "value": "2"})
    newer["patient"]["birthDate"] = "1970-01-01"
    desk.receive(raw(newer))
    desk.withdraw(exam_id, "why", 1)
    (kept,) = [kept for (kind, _), kept in desk.desk.store.kept.items() if kind == "Patient"]
    assert b"1970-01-01" in kept[-1].row.text
    assert len(kept) == 2
    (linked,) = [row for row in desk.desk.store.resources(exam_id) if row.type == "Patient"]
    assert linked.version == 1


def test_exm_14_a_draft_is_edited_without_reason_and_stays_a_draft() -> None:
    desk, exam_id = started(exam(status="preliminary"))
    edited = without(exam(status="preliminary"), "tender")
    finding(edited, "abduction-r")["angle"]["value"] = 160
    receipt = correct(desk, exam_id, edited, reason="")
    assert receipt.outcome is Outcome.CHANGED
    after = short(desk, exam_id)
    assert after["abduction-r"] == (2, "preliminary")
    assert after["grip"] == (1, "preliminary")
    assert after["tender"] == (2, "entered-in-error")
    back = correct(desk, exam_id, exam(status="preliminary"), reason="", expected=2)
    assert back.outcome is Outcome.CHANGED
    assert short(desk, exam_id)["tender"] == (3, "preliminary")


def test_exm_14_closing_a_draft_makes_everything_final() -> None:
    desk, exam_id = started(exam(status="preliminary"))
    receipt = desk.close(exam_id, 1)
    assert receipt.outcome is Outcome.CHANGED
    assert receipt.exam.status is ExamStatus.FINAL
    assert json.loads(receipt.exam.content)["status"] == "final"
    statuses = {value[1] for value in named(desk, exam_id).values()}
    assert statuses == {"final", "cancelled"}


def test_exm_14_a_draft_can_be_edited_and_closed_at_once() -> None:
    desk, exam_id = started(exam(status="preliminary"))
    edited = exam()
    finding(edited, "abduction-r")["angle"]["value"] = 160
    receipt = correct(desk, exam_id, edited, reason="")
    assert receipt.exam.status is ExamStatus.FINAL
    assert short(desk, exam_id)["abduction-r"] == (2, "final")


def test_times_of_versions_ascend_even_when_the_clock_stands_still() -> None:
    desk, exam_id = started()
    desk.desk.clock.now = desk.desk.clock.now.replace(year=2025)
    desk.withdraw(exam_id, "why", 1)
    first, second = desk.desk.store.versions(exam_id)
    assert first.recorded == "2026-03-02T09:31:08.412Z"
    assert second.recorded == "2026-03-02T09:31:08.413Z"


def test_a_correction_of_what_changed_meanwhile_is_stale() -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    correct(desk, exam_id, changed)
    finding(changed, "abduction-r")["angle"]["value"] = 161
    assert correct(desk, exam_id, changed, expected=1).outcome is Outcome.STALE
    assert correct(desk, exam_id, changed, expected=None).problems[0].code == (
        "expected-version-missing"
    )
    assert correct(desk, "no-such-exam", changed).outcome is Outcome.MISSING
    assert desk.correct(exam_id, b"{", "why", 2).outcome is Outcome.BROKEN


def test_wrt_06_a_change_whose_answer_was_lost_is_recognised_and_nothing_else_is() -> None:
    desk, exam_id = started()
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    assert correct(desk, exam_id, changed).outcome is Outcome.CHANGED
    again = correct(desk, exam_id, changed, expected=1)
    assert (again.outcome, again.exam.version) == (Outcome.SAME, 2)
    assert correct(desk, exam_id, changed, "another why", 1).outcome is Outcome.STALE
    assert desk.correct(exam_id, b"{", "read wrongly", 1).outcome is Outcome.STALE
    assert desk.withdraw(exam_id, "read wrongly", 1).outcome is Outcome.STALE
    assert desk.withdraw(exam_id, "wrong person", 2).outcome is Outcome.CHANGED
    assert desk.withdraw(exam_id, "wrong person", 2).outcome is Outcome.SAME
    assert desk.withdraw(exam_id, "wrong exam", 2).outcome is Outcome.STALE
    assert correct(desk, exam_id, changed, expected=1).outcome is Outcome.STALE
    assert len(desk.desk.store.versions(exam_id)) == 3
