"""Later versions of an exam by transaction: corrections and withdrawals (COR-05, TXN-05)."""

from __future__ import annotations

import copy

import pytest
from tests.api.serving import Serving, example, raw_example
from tests.api.transactions import held, index_of, post, refusal, resource, statuses

NAME = "stiff-shoulder"
REASON = "Read from the wrong scale."


class Sender:
    """A service whose exam goes through versions; ``versions`` are its transactions, in order."""

    def __init__(self, service: Serving, name: str) -> None:
        self.service = service
        self.id = service.post("/exams", raw_example(name)).json()["id"]
        self.number = 1
        self.versions = [self._bundle()]

    def _bundle(self):
        return self.service.get(f"/exams/{self.id}/bundle?type=transaction").json()

    def put(self, exam, reason=REASON):
        self._done(
            self.service.put(f"/exams/{self.id}", {"exam": exam, "reason": reason}, **self._at)
        )

    def withdraw(self):
        path = f"/exams/{self.id}/withdrawal"
        self._done(self.service.post(path, {"reason": REASON}, **self._at))

    @property
    def _at(self):
        return {"If_Match": f'W/"{self.number}"'}

    def _done(self, answer):
        assert answer.status_code == 200, answer.text
        self.number += 1
        self.versions.append(self._bundle())


@pytest.fixture
def sender(tmp_path):
    with Serving(tmp_path / "sender.sqlite3") as service:
        yield Sender(service, NAME)


@pytest.fixture
def here(tmp_path):
    with Serving(tmp_path / "receiver.sqlite3") as service:
        yield service


def corrected():
    exam = example(NAME)
    index = next(
        i for i, f in enumerate(exam["findings"]) if f["kind"] == "motion" and "angle" in f
    )
    exam["findings"][index]["angle"]["value"] -= 5
    return exam


def told(service, sender):
    found = service.get(f"/exams/{sender.id}").json()
    return {name: found[name] for name in ("version", "status", "reason", "digest")}


def test_cor_05_a_correction_goes_from_service_to_service(sender, here):
    sender.put(corrected())
    first, second = sender.versions
    post(here, first)
    answered = statuses(post(here, second))
    assert "200 OK" in answered
    assert told(here, sender) == told(sender.service, sender)
    assert told(here, sender)["reason"] == REASON


def test_a_finding_that_comes_and_one_that_goes(sender, here):
    exam = corrected()
    gone = exam["findings"].pop()
    exam["findings"].append({**gone, "key": "a-new-key"})
    sender.put(exam)
    post(here, sender.versions[0])
    assert {"200 OK", "201 Created"} == set(statuses(post(here, sender.versions[1])))
    assert told(here, sender) == told(sender.service, sender)
    entries = sender.versions[1]["entry"]
    assert "entered-in-error" in {entry["resource"].get("status") for entry in entries}


def test_txn_05_a_repeated_correction_changes_nothing(sender, here):
    sender.put(corrected())
    for bundle in sender.versions:
        post(here, bundle)
    before = held(here), told(here, sender)
    for bundle in sender.versions:
        assert set(statuses(post(here, bundle))) == {"200 OK"}
    assert (held(here), told(here, sender)) == before


@pytest.mark.parametrize("kind", ["correction", "withdrawal"])
def test_txn_05_a_repeat_that_says_more_is_no_repeat(sender, here, kind):
    sender.put(corrected()) if kind == "correction" else sender.withdraw()
    for bundle in sender.versions:
        post(here, bundle)
    more = copy.deepcopy(sender.versions[1])
    index = next(i for i, e in enumerate(more["entry"]) if "hasMember" in e["resource"])
    more["entry"][index]["resource"]["note"] = [{"text": "Seen again."}]
    places = refusal(post(here, more), 422, "not-kept")
    assert places == [f"Bundle.entry[{index}].resource.note"]


def test_cor_02_a_withdrawal_goes_from_service_to_service(sender, here):
    sender.withdraw()
    for bundle in sender.versions:
        post(here, bundle)
    assert told(here, sender) == told(sender.service, sender)
    assert told(here, sender)["status"] == "entered-in-error"
    assert set(statuses(post(here, sender.versions[1]))) == {"200 OK"}
    # what was withdrawn does not come back by posting it again
    assert post(here, sender.versions[0]).status_code == 409


def test_a_version_cannot_come_before_the_first(sender, here):
    sender.put(corrected())
    places = refusal(post(here, sender.versions[1]), 422, "not-stored-yet")
    assert places == [f"Bundle.entry[{index_of(sender.versions[1], 'DiagnosticReport')}].resource"]
    assert set(held(here).values()) == {0}


def test_txn_05_if_match_behaves_as_the_header(sender, here):
    sender.put(corrected())
    post(here, sender.versions[0])
    bundle = sender.versions[1]
    report = bundle["entry"][index_of(bundle, "DiagnosticReport")]
    report["request"]["ifMatch"] = 'W/"7"'
    answer = post(here, bundle)
    (place,) = refusal(answer, 412, "stale-version")
    assert place.startswith("Bundle.entry[")
    report["request"]["ifMatch"] = 'W/"1"'
    assert "200 OK" in statuses(post(here, bundle))


def test_a_version_that_was_left_out_is_noticed(sender, here):
    sender.put(corrected())
    exam = corrected()
    exam["note"] = "Seen again."
    sender.put(exam)
    post(here, sender.versions[0])
    assert refusal(post(here, sender.versions[2]), 412, "stale-version")
    assert told(here, sender)["version"] == 1


def test_a_change_without_a_reason_or_a_version_is_refused(sender, here):
    sender.put(corrected())
    post(here, sender.versions[0])
    silent = copy.deepcopy(sender.versions[1])
    del resource(silent, "Provenance")["reason"]
    assert refusal(post(here, silent), 422, "reason-missing")
    blind = copy.deepcopy(sender.versions[1])
    del resource(blind, "Provenance")["entity"]
    assert refusal(post(here, blind), 422, "expected-version-missing")
    assert told(here, sender)["version"] == 1


def test_a_correction_changed_on_the_way_is_refused(sender, here):
    sender.put(corrected())
    post(here, sender.versions[0])
    bundle = sender.versions[1]
    index = next(i for i, e in enumerate(bundle["entry"]) if "derivedFrom" in e["resource"])
    bundle["entry"][index]["resource"]["valueQuantity"]["value"] = 1
    assert refusal(post(here, bundle), 422, "not-kept") == [
        f"Bundle.entry[{index}].resource.value.value"
    ]
    assert told(here, sender)["version"] == 1


def test_a_draft_is_edited_and_closed_by_transactions(tmp_path, here):
    with Serving(tmp_path / "drafts.sqlite3") as service:
        sender = Sender(service, "draft")
        exam = example("draft")
        exam["note"] = "To be completed."
        sender.put(exam, "")
        sender.put({**exam, "status": "final"}, "")
        for bundle in sender.versions:
            assert post(here, bundle).status_code == 200, post(here, bundle).text
        assert told(here, sender) == told(service, sender)
