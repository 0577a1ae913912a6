"""Requirements that lie across several parts of the service."""

from __future__ import annotations

import json

import pytest
from tests.api.serving import FHIR_JSON, Serving, example, inside
from tests.bulk.jobs import Exports

WORDS = "Ärger mit dem Öl: 37 °C, 触診で痛み, naïve, Ω, e\u0301, \U0001f9be, \u200f\u05e9\u200e"


@pytest.fixture
def service(tmp_path):
    with Serving(tmp_path / "exams.sqlite3") as serving:
        yield serving


def strings(value):
    """Every string in a JSON value."""
    if isinstance(value, str):
        return [value]
    parts = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [found for part in parts for found in strings(part)]


@pytest.mark.parametrize("escaped", [True, False])
def test_neg_13_text_beyond_ascii_comes_back_as_it_was(service, tmp_path, escaped):
    exam = example("recovering-shoulder-1")
    exam["note"] = exam["findings"][0]["note"] = WORDS
    raw = json.dumps(exam, ensure_ascii=escaped).encode()
    posted = service.post("/exams", raw)
    assert posted.status_code == 201, posted.text
    identity = posted.json()["id"]
    assert strings(service.get(f"/exams/{identity}").json()["exam"]).count(WORDS) == 2
    found = service.get(f"/exams/{identity}/bundle?type=transaction")
    assert any(WORDS in text for text in strings(found.json()))
    observations = service.get("/fhir/Observation?_count=100").json()["entry"]
    notes = [note["text"] for e in observations for note in e["resource"].get("note", ())]
    assert WORDS in notes
    with Serving(tmp_path / "other.sqlite3") as other:
        taken = other.post("/fhir", found.content, Content_Type=FHIR_JSON)
        assert taken.status_code == 200, taken.text
        entries = other.get("/fhir/Observation?_count=100").json()["entry"]
        assert WORDS in [n["text"] for e in entries for n in e["resource"].get("note", ())]


def test_cor_08_a_poller_sees_corrections_and_withdrawals(service):
    names = ("corrected", "withdrawn", "untouched")
    exams = {}
    for name in names:
        exam = example("recovering-shoulder-1")
        exam["identifier"]["value"] = name
        exams[name] = (service.post("/exams", exam).json()["id"], exam)
    begin = service.get("/fhir/DiagnosticReport?_sort=-_lastUpdated&_count=1").json()
    last = begin["entry"][0]["resource"]["meta"]["lastUpdated"]
    identity, exam = exams["corrected"]
    changed = {"reason": "Read again.", "exam": {**exam, "note": "Read again."}}
    assert service.put(f"/exams/{identity}", changed, If_Match='W/"1"').status_code == 200
    identity, _ = exams["withdrawn"]
    gone = service.post(
        f"/exams/{identity}/withdrawal", {"reason": "Wrong person."}, If_Match='W/"1"'
    )
    assert gone.status_code == 200

    def told(reports):
        return {(one["identifier"][0]["value"], one["status"]) for one in reports}

    seen = {("corrected", "amended"), ("withdrawn", "entered-in-error")}
    polled = service.get(f"/fhir/DiagnosticReport?_lastUpdated=gt{last}").json()["entry"]
    assert told(entry["resource"] for entry in polled) == seen
    history = service.get(f"/fhir/DiagnosticReport/_history?_since={last}").json()["entry"]
    assert seen <= told(entry["resource"] for entry in history)

    exports = Exports(service)
    place = exports.begun(f"/fhir/$export?_since={last}&_type=DiagnosticReport")
    exports.carried_out()
    lines = [
        json.loads(line)
        for item in exports.manifest(place)["output"]
        for line in exports.ask(inside(item["url"])).text.splitlines()
    ]
    assert seen <= told(lines)
    observations = service.get(
        f"/fhir/Observation?_lastUpdated=gt{last}&status=entered-in-error&_summary=count"
    )
    assert observations.json()["total"] > 0


def test_doc_05_doc_06_no_guide_is_claimed_that_is_not_met(service):
    statement = service.get("/fhir/metadata").json()
    guides = " ".join(
        [*statement.get("instantiates", ()), *statement.get("implementationGuide", ())]
    )
    # QEDm wants XML too, IPA wants patients to log in themselves
    assert "qedm" not in guides.lower()
    assert "ipa" not in guides.lower().replace("hipaa", "")
    assert not [one for one in statement["format"] if "xml" in one]
    # what QEDm asks for works nevertheless
    service.post("/exams", example("recovering-shoulder-1"))
    found = service.get("/fhir/Patient").json()["entry"][0]["resource"]["id"]
    for query in ("", "&category=exam", "&date=ge2020", "&category=exam&date=ge2020"):
        answer = service.get(f"/fhir/Observation?patient={found}{query}")
        assert answer.json()["total"] > 0, query
