"""Random lives of an exam: whatever happens to it, nothing that was recorded is ever lost."""

from __future__ import annotations

import json

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.intake.desks import export, intake
from tests.intake.exams import EXAM, exam, finding, raw, without

from brachium.intake.lifecycle import may_step
from brachium.intake.receipt import Outcome

KEYS = [one["key"] for one in EXAM["findings"]]
CHANGES = st.one_of(
    st.tuples(st.just("value"), st.integers(100, 179)),
    st.tuples(st.just("note"), st.sampled_from(["seen again", "in pain"])),
    st.tuples(st.just("remove"), st.sampled_from(KEYS[1:])),
    st.tuples(st.just("absent"), st.sampled_from(["declined", "not-examined", "not-applicable"])),
    st.tuples(st.just("age"), st.sampled_from(["1969-04-11", "2015-01-01"])),
)
STEPS = st.one_of(
    st.tuples(st.just("correct"), st.lists(CHANGES, max_size=3), st.booleans()),
    st.tuples(st.just("withdraw"), st.none(), st.none()),
    st.tuples(st.just("close"), st.none(), st.none()),
    st.tuples(st.just("receive"), st.none(), st.none()),
)


def changed(changes, *, draft):
    content = exam(status="preliminary" if draft else "final")
    for kind, value in changes:
        one = finding(content, "abduction-r")
        if kind == "value":
            one.pop("absent", None)
            one["angle"] = {"value": value, "unit": "deg"}
        elif kind == "note":
            one["note"] = value
        elif kind == "absent":
            one.pop("angle", None)
            one["absent"] = {"reason": value}
        elif kind == "age":
            content["patient"]["birthDate"] = value
        else:
            without(content, value)
    return raw(content)


def take(desk, exam_id, step, changes, *, draft):
    version = desk.desk.store.exam(exam_id).version
    if step == "withdraw":
        return desk.withdraw(exam_id, "why", version)
    if step == "close":
        return desk.close(exam_id, version)
    if step == "receive":
        return desk.receive(changed([], draft=draft or False))
    return desk.correct(exam_id, changed(changes, draft=draft), "why", version)


def snapshot(store, exam_id):
    return {one.version: store.resources(exam_id, one.version) for one in store.versions(exam_id)}


@settings(max_examples=60, deadline=None)
@given(st.booleans(), st.lists(STEPS, min_size=1, max_size=5))
def test_cor_01_to_07_no_sequence_of_changes_loses_or_alters_anything(draft, steps) -> None:
    desk = intake()
    exam_id = desk.receive(changed([], draft=draft)).exam.id
    store = desk.desk.store
    for step, changes, as_draft in steps:
        before, current = snapshot(store, exam_id), store.exam(exam_id)
        receipt = take(desk, exam_id, step, changes, draft=as_draft)
        after, now = snapshot(store, exam_id), store.exam(exam_id)
        assert {version: after[version] for version in before} == before
        if receipt.outcome is not Outcome.CHANGED:
            assert after == before
            continue
        assert now.version == current.version + 1
        assert may_step(current.status, now.status)
        assert now.recorded > current.recorded
        holds(before[current.version], after[now.version], now.status.value)
    for kind in ("collection", "transaction", "document"):
        assert json.loads(export(desk).bundle(exam_id, kind))["entry"]


def holds(old, new, status) -> None:
    """What must be true between two versions of an exam that follow each other."""
    earlier = {row.id: row for row in old if row.type in ("Observation", "DiagnosticReport")}
    later = {row.id: row for row in new if row.type in ("Observation", "DiagnosticReport")}
    assert set(earlier) <= set(later), "a resource of the last version is gone"
    for key, row in earlier.items():
        assert later[key].version in (row.version, row.version + 1)
        assert (later[key].text == row.text) is (later[key].version == row.version)
    valid = {key: json.loads(row.text) for key, row in later.items()}
    (report,) = [one for one in valid.values() if one["resourceType"] == "DiagnosticReport"]
    assert report["status"] == status
    shown = set()
    for panel in report.get("result", ()):
        content = valid[panel["reference"].split("/")[1]]
        shown |= {content["id"], *(m["reference"].split("/")[1] for m in content["hasMember"])}
    for key, content in valid.items():
        if content["resourceType"] == "Observation":
            in_error = content["status"] == "entered-in-error"
            assert in_error or key in shown, "a valid finding is in no panel"
            assert status == "entered-in-error" or not (in_error and key in shown)
