"""The log names the prompts that an exam was answered with, as rules and versions only."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.intake.desks import intake

from brachium.settings import Settings
from brachium.wiring import opened

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
REASON = "The angle was read wrongly."


@pytest.fixture
def desk(tmp_path):
    store = opened(Settings(database=tmp_path / "exams.sqlite3"))
    yield intake(store)
    store.close()


def example(name, **changes):
    return json.loads((EXAMPLES / f"{name}.json").read_text()) | changes


def raw(content):
    return json.dumps(content).encode()


def straightened(content):
    """The same exam without the motions that show the prompt."""
    kept = [one for one in content["findings"] if one.get("motion") != "extension"]
    assert len(kept) < len(content["findings"])
    return content | {"findings": kept}


def logged(desk):
    return [
        (row.entry.action, row.entry.outcome, row.entry.shown) for row in desk.desk.store.audit()
    ]


def told(receipt):
    """The prompts in the assessment that a client gets to read."""
    judged = json.loads(receipt.exam.assessment)["judged"]
    return {f"{one['rule']}/{one['ruleVersion']}" for one in judged if one["kind"] == "prompt"}


def test_prompts_are_logged_through_the_life_of_an_exam(desk):
    content = example("elbow-after-fracture", status="preliminary")
    posted = desk.receive(raw(content))
    closed = desk.close(posted.exam.id, 1)
    final = content | {"status": "final", "note": "Read again."}
    noted = desk.correct(posted.exam.id, raw(final), REASON, 2)
    gone = desk.withdraw(posted.exam.id, REASON, 3)
    shown = ("elbow-extension/1.0",)
    assert logged(desk) == [
        ("create", "created", shown),
        ("close", "created", shown),
        ("correct", "created", shown),
        ("withdraw", "created", shown),
    ]
    assert [told(one) for one in (posted, closed, noted, gone)] == [set(shown)] * 4


def test_a_correction_is_logged_with_its_own_prompts_and_not_the_earlier_ones(desk):
    content = example("elbow-after-fracture")
    posted = desk.receive(raw(content))
    corrected = desk.correct(posted.exam.id, raw(straightened(content)), REASON, 1)
    assert logged(desk) == [
        ("create", "created", ("elbow-extension/1.0",)),
        ("correct", "created", ()),
    ]
    assert told(corrected) == set()


def test_every_prompt_is_named_once_and_no_other(desk):
    receipts = [
        desk.receive(raw(example(name)))
        for name in ("fall-on-the-arm", "ulnar-weakness", "healthy-adult")
    ]
    shown = [row.entry.shown for row in desk.desk.store.audit()]
    assert [set(one) for one in shown] == [told(receipt) for receipt in receipts]
    assert [len(one) for one in shown] == [3, 2, 0]
    assert [len(told(receipt)) for receipt in receipts] == [3, 2, 0]


def test_a_prompt_shown_on_both_sides_is_named_once(desk):
    content = example("elbow-after-fracture")
    short = [one for one in content["findings"] if one.get("motion") == "extension"]
    short = [one for one in short if one["side"] == "right"]
    other = [one | {"side": "left", "key": f"other-{at}"} for at, one in enumerate(short)]
    receipt = desk.receive(raw(content | {"findings": short + other}))
    prompts = [
        one for one in json.loads(receipt.exam.assessment)["judged"] if one["kind"] == "prompt"
    ]
    assert len(prompts) == 2
    assert logged(desk) == [("create", "created", ("elbow-extension/1.0",))]


def test_a_repeat_is_logged_with_what_it_shows_and_a_conflict_with_nothing(desk):
    content = example("elbow-after-fracture")
    for body in (content, content, straightened(content), content | {"note": "Other."}):
        desk.receive(raw(body))
    shown = ("elbow-extension/1.0",)
    assert logged(desk) == [
        ("create", "created", shown),
        ("create", "same", shown),
        ("create", "conflict", ()),
        ("create", "conflict", ()),
    ]


def test_nothing_of_the_patient_is_in_the_log(desk):
    content = example("elbow-after-fracture")
    desk.receive(raw(content))
    log = str(desk.desk.store.audit())
    assert "elbow-extension/1.0" in log
    patient = content["patient"]
    for private in (patient["identifier"]["value"], patient["birthDate"], content["note"]):
        assert private not in log


def test_a_dry_run_leaves_no_row(desk):
    preview = desk.dry_run(raw(example("elbow-after-fracture")))
    assert preview.exam.shown == ("elbow-extension/1.0",)
    assert logged(desk) == []
