"""Exams in, over HTTP (matrix EXM)."""

from __future__ import annotations

import copy

import pytest
from tests.api.serving import BASE, FHIR_JSON, example, inside, raw_example


def test_exm_01_created_with_location_identifier_and_links_that_answer(service):
    answer = service.post("/exams", raw_example("stiff-shoulder"))
    body = answer.json()
    assert answer.status_code == 201
    assert answer.headers["location"] == f"{BASE}/exams/{body['id']}" == body["links"]["self"]
    assert answer.headers["etag"] == 'W/"1"'
    posted = example("stiff-shoulder")
    assert body["identifier"] == posted["identifier"]
    assert body["findings"] == len(posted["findings"])
    assert (body["version"], body["status"]) == (1, "final")
    assert {"report", "transaction", "collection", "document", "codings"} < set(body["links"])
    for link in body["links"].values():
        assert service.get(inside(link)).status_code == 200, link


def test_exm_03_same_content_twice_gives_200_and_the_same_ids(service, stored):
    again = service.post("/exams", raw_example("stiff-shoulder"))
    assert again.status_code == 200
    assert again.headers["etag"] == 'W/"1"'
    assert {**again.json()} == stored
    report = inside(stored["links"]["report"])
    assert service.get(f"{report}/_history").json()["total"] == 1


def test_exm_03_order_and_spacing_do_not_matter(service, stored):
    posted = example("stiff-shoulder")
    posted["findings"].reverse()
    again = service.post("/exams", dict(reversed(posted.items())))
    assert again.status_code == 200
    assert again.json()["id"] == stored["id"]


def other_value():
    changed = example("stiff-shoulder")
    angled = next(one for one in changed["findings"] if "angle" in one)
    angled["angle"]["value"] -= 1
    return changed


def test_exm_04_other_content_is_a_conflict_and_changes_nothing(service, stored):
    before = service.get(f"/exams/{stored['id']}").content
    answer = service.post("/exams", other_value(), Accept=FHIR_JSON)
    assert answer.status_code == 409
    assert answer.headers["content-type"] == FHIR_JSON
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert answer.json()["issue"][0]["code"] == "conflict"
    assert service.get(f"/exams/{stored['id']}").content == before


def test_exm_04_as_problem_details(service, stored):
    answer = service.post("/exams", other_value())
    assert stored
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["problems"][0]["code"] == "identifier-taken"


def test_exm_05_parallel_duplicates_create_once(service):
    content = raw_example("stiff-shoulder")
    options = {"content": content, "headers": {"Content-Type": "application/json"}}
    answers = service.together([("POST", "/exams", options)] * 50)
    assert sorted(one.status_code for one in answers) == [200] * 49 + [201]
    assert len({one.json()["id"] for one in answers}) == 1
    identifier = example("stiff-shoulder")["identifier"]
    query = f"identifier={identifier['system']}|{identifier['value']}"
    assert service.get(f"/fhir/DiagnosticReport?{query}").json()["total"] == 1


def test_exm_06_all_problems_in_one_answer_each_with_its_place(service):
    answer = service.post("/exams", raw_example("refused/five-at-once"), Accept=FHIR_JSON)
    assert answer.status_code == 422
    errors = [one for one in answer.json()["issue"] if one["severity"] == "error"]
    assert len({one["expression"][0] for one in errors}) >= 5
    plain = service.post("/exams", raw_example("refused/five-at-once")).json()
    assert len({one["pointer"] for one in plain["problems"]}) >= 5


def test_exm_07_dry_run_stores_nothing_and_shows_the_bundle(service):
    answer = service.post("/exams?dry-run=true", raw_example("stiff-shoulder"))
    assert answer.status_code == 200
    body = answer.json()
    assert body["accepted"] is True
    assert body["outcome"]["resourceType"] == "OperationOutcome"
    assert body["bundle"]["type"] == "collection"
    assert "etag" not in answer.headers
    identifier = example("stiff-shoulder")["identifier"]
    query = f"identifier={identifier['system']}|{identifier['value']}"
    assert service.get(f"/fhir/DiagnosticReport?{query}").json()["total"] == 0
    assert service.post("/exams", raw_example("stiff-shoulder")).status_code == 201


def test_exm_07_dry_run_of_a_bad_exam_is_refused_all_the_same(service):
    answer = service.post("/exams?dry-run=true", raw_example("refused/missing-side"))
    assert answer.status_code == 422


@pytest.mark.parametrize(
    "query",
    [
        "dryrun=true",
        "dry_run=true",
        "dry-run=perhaps",
        "dry-run=true&dry-run=false",
        "Dry-Run=true",
        "x=1",
    ],
)
def test_exm_07_a_misspelt_dry_run_never_stores(service, query):
    answer = service.post(f"/exams?{query}", raw_example("stiff-shoulder"))
    assert answer.status_code == 400
    assert answer.json()["problems"][0]["code"] == "bad-parameter"
    assert service.post("/exams", raw_example("stiff-shoulder")).status_code == 201


def test_exm_13_time_without_offset(service):
    answer = service.post("/exams", raw_example("refused/time-without-offset"), Accept=FHIR_JSON)
    assert answer.status_code == 422
    assert "exam.effective" in [one["expression"][0] for one in answer.json()["issue"]]


def test_exm_14_a_draft_is_preliminary_until_it_is_closed(service, draft):
    assert draft["status"] == "preliminary"
    closed = service.ask("POST", f"/exams/{draft['id']}/close", headers={"If-Match": 'W/"1"'})
    assert closed.status_code == 200
    assert (closed.json()["status"], closed.json()["version"]) == ("final", 2)
    report = service.get(inside(draft["links"]["report"])).json()
    assert report["status"] == "final"
    again = service.ask("POST", f"/exams/{draft['id']}/close", headers={"If-Match": 'W/"2"'})
    assert again.status_code == 422


ABSENCES = {
    "not-tested": "not-performed",
    "declined": "asked-declined",
    "not-applicable": "not-applicable",
}


def test_exm_15_four_absences_are_four_outputs(service):
    posted = example("stiff-shoulder")
    model = next(one for one in posted["findings"] if "angle" in one)
    kept = {name: model[name] for name in ("kind", "joint", "motion", "mode") if name in model}
    joint = service.get("/catalogue").json()["joints"][0]
    motions = [one for one in joint["motions"] if not one["armPositions"]][:4]
    assert len(motions) == 4
    posted["findings"] = [
        {
            **kept,
            "key": f"k-{reason}",
            "joint": joint["joint"],
            "motion": motion["motion"],
            "mode": motion["modes"][0],
            "side": "left",
            "absent": {"reason": reason},
        }
        for reason, motion in zip([*ABSENCES, "not-examined"], motions, strict=True)
    ]
    answer = service.post("/exams", posted)
    assert answer.status_code == 201, answer.text
    bundle = service.get(f"/exams/{answer.json()['id']}/bundle").json()
    found = {
        one["resource"]["identifier"][0]["value"].rpartition("/k-")[2]: one["resource"]
        for one in bundle["entry"]
        if "dataAbsentReason" in one["resource"]
    }
    assert set(found) == set(ABSENCES)
    for reason, code in ABSENCES.items():
        assert found[reason]["status"] == "cancelled"
        codes = {one["code"] for one in found[reason]["dataAbsentReason"]["coding"]}
        assert code in codes


def test_exm_16_too_large_is_refused_before_it_is_read(service):
    huge = b"[" * (service.parts.settings.max_body + 1)
    answer = service.post("/exams", huge, Accept=FHIR_JSON)
    assert answer.status_code == 413
    assert answer.json()["issue"][0]["code"] == "too-long"
    limit = f"{service.parts.settings.max_body} bytes"
    assert limit in answer.json()["issue"][0]["details"]["text"]


def test_exm_16_streamed_too_large(service):
    async def pieces():
        for _ in range(40):
            yield b" " * 65536

    headers = {"Content-Type": "application/json"}
    answer = service.ask("POST", "/exams", content=pieces(), headers=headers)
    assert answer.status_code == 413


def test_prefer_representation_answers_with_the_bundle(service):
    answer = service.post(
        "/exams", raw_example("stiff-shoulder"), Prefer="return=representation", Accept=FHIR_JSON
    )
    assert answer.status_code == 201
    assert answer.headers["content-type"] == FHIR_JSON
    assert answer.headers["preference-applied"] == "return=representation"
    where = inside(answer.headers["location"])
    assert answer.content == service.get(f"{where}/bundle?type=collection").content


def test_prefer_minimal_answers_without_a_body(service):
    answer = service.post("/exams", raw_example("stiff-shoulder"), Prefer="return=minimal")
    assert (answer.status_code, answer.content) == (201, b"")
    assert answer.headers["location"].startswith(BASE)


def test_err_03_broken_json_is_400_with_structure(service):
    answer = service.post("/exams", raw_example("refused/not-json"), Accept=FHIR_JSON)
    assert answer.status_code == 400
    assert answer.json()["issue"][0]["code"] == "structure"


@pytest.mark.parametrize(
    "content_type", ["text/plain", "application/xml", "", "application/json; charset=latin-1"]
)
def test_neg_04_other_media_types_are_415(service, content_type):
    answer = service.post("/exams", raw_example("stiff-shoulder"), Content_Type=content_type)
    assert answer.status_code == 415
    assert answer.json()["problems"][0]["code"] == "wrong-media-type"


def test_neg_09_compressed_bodies_are_415(service):
    answer = service.post("/exams", b"\x1f\x8b", Content_Encoding="gzip")
    assert answer.status_code == 415


def test_neg_06_neg_07_digits_and_offsets_come_back_as_written(service):
    posted = raw_example("stiff-shoulder").replace(b'"value": 150', b'"value": 150.0')
    changed = copy.copy(posted)
    answer = service.post("/exams", changed)
    assert answer.status_code == 201, answer.text
    effective = example("stiff-shoulder")["effective"].encode()
    exam = service.get(f"/exams/{answer.json()['id']}").content
    assert effective in exam
    bundle = service.get(f"/exams/{answer.json()['id']}/bundle").content
    assert effective in bundle
