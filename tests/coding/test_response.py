"""The response of an exam version as a stored resource: id, search rows, later statuses."""

from __future__ import annotations

import pytest
from tests.coding.coded import CANONICAL, Stamp, code_exam, tables
from tests.coding.responses import example, parsed, read
from tests.oracles import structure_401

from brachium.coding.periods import interval
from brachium.coding.response import response, response_id, restated
from brachium.coding.searched import searched
from brachium.exam.canonical import canonical
from brachium.exam.findings import Exam

STAMP = Stamp("2026-03-02T10:20:00.000Z", 3, "amended", reason="x")


def whole(resource):
    return parsed(resource.text(resource.version, STAMP.recorded))


def test_the_id_stays_and_the_version_is_that_of_the_exam():
    exam = example("child")
    made = response(exam, tables(), CANONICAL, STAMP)
    assert (made.type, made.id, made.version) == (
        "QuestionnaireResponse",
        response_id(exam.identifier),
        3,
    )
    assert made.body == response(exam, tables(), CANONICAL, STAMP).body
    assert structure_401.complaints(whole(made)) == []
    assert canonical(Exam.model_validate(read(whole(made)).exam)) == canonical(exam)
    coded = {one["id"] for one in code_exam(exam).resources}
    assert made.id not in coded


def test_search_rows_lead_to_the_parties_of_the_exam():
    exam = example("full-arms")
    made = response(exam, tables(), CANONICAL, STAMP)
    rows = {}
    (found,) = searched([(made.type, made.body)])
    for row in found:
        rows.setdefault(row.parameter, []).append(row.value)
    coded = {one["resourceType"]: one["id"] for one in code_exam(exam).resources}
    url = f"{CANONICAL}/Questionnaire/arm-exam"
    assert rows == {
        "identifier": [f"{exam.identifier.system}|{exam.identifier.value}"],
        "status": ["http://hl7.org/fhir/questionnaire-answers-status|amended"],
        "questionnaire": [f"{url}|{tables().edition}", url],
        "patient": [f"Patient/{coded['Patient']}"],
        "subject": [f"Patient/{coded['Patient']}"],
        "author": [f"Practitioner/{coded['Practitioner']}"],
        "authored": [interval(STAMP.recorded)],
        "encounter:identifier": [
            f"{exam.encounter.identifier.system}|{exam.encounter.identifier.value}"
        ],
    }


@pytest.mark.parametrize("name", ["child", "draft"])
@pytest.mark.parametrize("status", ["preliminary", "final", "amended", "entered-in-error"])
def test_cor_02_another_status_leaves_the_answers_alone(name, status):
    exam = example(name)
    before = whole(response(exam, tables(), CANONICAL, STAMP))
    after = restated(before, CANONICAL, status, "2026-04-01T00:00:00.000Z")
    assert after["item"] == before["item"]
    assert structure_401.complaints(after) == []
    assert canonical(Exam.model_validate(read(after).exam)) == canonical(exam)
    assert restated(after, CANONICAL, "amended", before["authored"]) == before
