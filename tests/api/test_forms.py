"""Create, update and withdrawal by QuestionnaireResponse (matrix WRT, NEG-10, PRV-03).

The matrix speaks of Observation; here exams come in whole, so the resource that can be created and
updated over FHIR is the filled-in form.
"""

from __future__ import annotations

import copy
import random
import re
from email.utils import parsedate_to_datetime

import pytest
from tests.api.forms import (
    BASE,
    NAME,
    PATH,
    REASON,
    SYSTEM,
    angles,
    create,
    form,
    read,
    update,
    with_reason,
)
from tests.api.serving import FHIR_JSON, example, inside, raw_example
from tests.api.test_transaction_faults import CHANGES, places
from tests.api.transactions import code, issues, post, refusal, statuses

CONDITION = f"identifier={SYSTEM}|F-1"


@pytest.fixture
def made(service):
    """A form as it is stored."""
    answer = create(service, form())
    assert answer.status_code == 201, answer.text
    return answer.json()


@pytest.fixture
def other(made):
    """The stored form with another angle."""
    changed = copy.deepcopy(made)
    angles(changed["item"])[0]["value"] -= 5
    return changed


def answers(resource):
    """Every answer, in whatever order the findings stand."""
    return sorted(re.findall(r"'answer': \[[^]]+\]", str(resource["item"])))


def total(service):
    return service.get(f"{PATH}?_count=0").json()["total"]


def test_wrt_01_create_ignores_what_is_the_servers(service):
    sent = form() | {"id": "abc", "meta": {"versionId": "7", "lastUpdated": "2020-01-01T00:00:00Z"}}
    answer = create(service, sent)
    assert answer.status_code == 201
    body = answer.json()
    where = rf"{re.escape(BASE)}{PATH}/([A-Za-z0-9.-]+)/_history/1"
    assert re.fullmatch(where, answer.headers["location"])[1] == body["id"] != "abc"
    assert body["meta"]["versionId"] == "1"
    assert answer.headers["etag"] == 'W/"1"'
    modified = parsedate_to_datetime(answer.headers["last-modified"])
    assert modified.isoformat()[:19] == body["meta"]["lastUpdated"][:19]
    assert service.get(inside(answer.headers["location"])).json() == body


@pytest.mark.parametrize("name", [NAME, "stiff-hand", "ulnar-weakness", "draft"])
def test_sdc_01_a_form_becomes_the_same_exam(service, name):
    sent = form(name)
    assert create(service, sent).status_code == 201
    assert service.post("/exams", raw_example(name)).status_code == 200
    again = create(service, sent)
    assert (again.status_code, again.headers["etag"]) == (200, 'W/"1"')
    assert total(service) == 1


def test_exm_04_the_same_identifier_with_other_answers_is_a_conflict(service, made, other):
    before = read(service, made)
    answer = create(service, other)
    assert answer.status_code == 409
    assert issues(answer)[0]["code"] == "conflict"
    assert read(service, made) == before


def test_wrt_02_if_none_exist(service):
    first = create(service, form(value="F-1"), If_None_Exist=CONDITION)
    assert first.status_code == 201
    again = create(service, form(value="F-1"), If_None_Exist=CONDITION)
    assert (again.status_code, again.headers["etag"]) == (200, first.headers["etag"])
    # a match is answered as it is stored, whatever was sent
    changed = create(service, form(value="F-1", note="Other."), If_None_Exist=f"?{CONDITION}")
    assert changed.status_code == 200
    assert changed.json() == first.json()
    assert create(service, form(value="F-2")).status_code == 201
    both = f"{CONDITION},{SYSTEM}%7CF-2"
    several = create(service, form(value="F-3"), If_None_Exist=both)
    assert several.status_code == 412
    assert issues(several)[0]["code"] == "multiple-matches"
    assert total(service) == 2


def test_wrt_03_if_none_exist_is_race_free(service):
    headers = {"Content-Type": FHIR_JSON, "If-None-Exist": CONDITION}
    one = ("POST", PATH, {"json": form(value="F-1"), "headers": headers})
    answers = service.together([one] * 30)
    assert sorted(answer.status_code for answer in answers) == [200] * 29 + [201]
    assert len({answer.headers["location"] for answer in answers}) == 1
    assert service.get(f"{PATH}?{CONDITION}").json()["total"] == 1


def test_wrt_03_a_race_of_different_contents_has_one_winner(service):
    headers = {"Content-Type": FHIR_JSON, "If-None-Exist": CONDITION}
    answers = service.together(
        [
            ("POST", PATH, {"json": form(value="F-1", note=f"Note {n}."), "headers": headers})
            for n in range(12)
        ]
    )
    assert sorted(answer.status_code for answer in answers) == [200] * 11 + [201]
    assert len({answer.content for answer in answers}) == 1


@pytest.mark.parametrize(
    "condition",
    [
        "",
        "&",
        "_id=x",
        "foo=bar",
        "identifier",
        "identifier=",
        "identifier=F-1",
        "identifier=a|b",
        f"{CONDITION},",
        f"{CONDITION}&status=completed",
    ],
)
def test_wrt_04_a_condition_that_is_not_understood_never_matches(service, made, condition):
    assert made
    answer = create(service, form(value="F-1"), If_None_Exist=condition)
    assert answer.status_code == 400
    assert issues(answer)[0]["expression"] == ["http.If-None-Exist"]
    assert total(service) == 1


@pytest.mark.parametrize("headers", [{}, {"If_Match": ""}, {"If_Match": "*"}])
def test_wrt_05_update_needs_if_match(service, made, other, headers):
    answer = update(service, with_reason(other), **headers)
    assert answer.status_code == 400
    assert issues(answer)[0]["code"] == "required"
    assert read(service, made) == made


def test_wrt_06_wrt_07_ver_05_a_correction_and_a_stale_one(service, made, other):
    first = service.get(f"{PATH}/{made['id']}/_history/1").content
    second = update(service, with_reason(other), 1)
    assert (second.status_code, second.headers["etag"]) == (200, 'W/"2"')
    body = second.json()
    assert body["status"] == "amended"
    assert angles(body["item"]) == angles(other["item"])
    stale = update(service, with_reason(made), 1)
    assert stale.status_code == 412
    assert issues(stale)[0]["code"] == "conflict"
    assert read(service, made) == second.json()
    third = update(service, with_reason(made), 2)
    assert (third.status_code, third.headers["etag"]) == (200, 'W/"3"')
    assert service.get(f"{PATH}/{made['id']}/_history/1").content == first
    assert service.get(f"{PATH}/{made['id']}/_history/2").json() == second.json()


def test_cor_01_a_correction_without_a_reason_is_refused(service, made, other):
    for sent in (other, with_reason(other, "  ")):
        assert refusal(update(service, sent, 1), 422, "reason-missing") == [
            "QuestionnaireResponse.extension"
        ]
    assert read(service, made) == made


def test_cor_01_the_reason_goes_into_provenance(service, other):
    update(service, with_reason(other), 1)
    found = service.get(f"/fhir/Provenance?target=DiagnosticReport/{report(service)['id']}").json()
    reasons = [entry["resource"].get("reason") for entry in found["entry"]]
    assert [{"text": REASON}] in reasons


def report(service):
    return service.get("/fhir/DiagnosticReport").json()["entry"][0]["resource"]


@pytest.mark.parametrize("change", ["none", "other", "number"])
def test_wrt_08_the_id_of_the_body_is_that_of_the_address(service, made, change):
    sent = {name: value for name, value in made.items() if name != "id"}
    sent |= {"none": {}, "other": {"id": "b"}, "number": {"id": 1}}[change]
    path = f"{PATH}/{made['id']}"
    answer = service.put(path, sent, Content_Type=FHIR_JSON, If_Match='W/"1"')
    assert answer.status_code == 400
    assert code(issues(answer)[0]) == "id-mismatch"
    assert read(service, made) == made


def test_wrt_09_an_unknown_id_is_not_created(service):
    answer = update(service, form() | {"id": "new-id"}, 1)
    assert answer.status_code == 405
    assert "PUT" not in answer.headers["allow"]
    assert issues(answer)[0]["severity"] == "error"
    assert total(service) == 0


def conditionally(service, resource, condition=CONDITION, **headers):
    return service.put(f"{PATH}?{condition}", resource, Content_Type=FHIR_JSON, **headers)


def test_wrt_10_conditional_update(service):
    sent = form(value="F-1")
    assert conditionally(service, sent).status_code == 201
    again = conditionally(service, sent)
    assert (again.status_code, again.headers["etag"]) == (200, 'W/"1"')
    changed = with_reason(form(value="F-1", note="Seen again."))
    assert conditionally(service, changed).status_code == 400
    assert conditionally(service, changed, If_Match='W/"7"').status_code == 412
    second = conditionally(service, changed, If_Match='W/"1"')
    assert (second.status_code, second.headers["etag"]) == (200, 'W/"2"')
    create(service, form(value="F-2"))
    several = conditionally(service, sent, f"{CONDITION},{SYSTEM}|F-2")
    assert several.status_code == 412
    assert conditionally(service, form(value="F-3")).status_code == 400
    for condition in ("", "foo=bar", "identifier=", f"{CONDITION}&_id=x"):
        assert conditionally(service, sent, condition).status_code == 400
    assert total(service) == 2


def test_wrt_11_forms_are_not_deleted(service, made):
    answer = service.ask("DELETE", f"{PATH}/{made['id']}")
    assert answer.status_code == 405
    assert "DELETE" not in answer.headers["allow"]
    assert "entered-in-error" in answer.text
    assert read(service, made) == made


def test_wrt_14_json_patch_is_refused_with_what_is_allowed(service, made):
    patch = b'[{"op": "replace", "path": "/status", "value": "amended"}]'
    headers = {"Content-Type": "application/json-patch+json", "If-Match": 'W/"1"'}
    answer = service.ask("PATCH", f"{PATH}/{made['id']}", content=patch, headers=headers)
    assert answer.status_code == 405
    assert "PUT" in answer.headers["allow"].split(", ")
    assert issues(answer)[0]["code"] == "not-supported"
    assert read(service, made) == made


def test_a_form_changed_at_one_place_is_never_a_failure_of_the_service(service, made):
    chance = random.Random(7)
    everywhere = places(made)
    for path in chance.sample(everywhere, 60):
        sent = copy.deepcopy(made)
        holder = sent
        for step in path[:-1]:
            holder = holder[step]
        chance.choice(CHANGES)(holder, path[-1])
        answer = create(service, sent)
        assert answer.status_code in (200, 400, 409, 422), (path, answer.text)
        if answer.status_code != 200:
            assert any(issue["severity"] == "error" for issue in issues(answer)), path
    assert read(service, made) == made


def test_wrt_12_a_part_of_a_resource_is_refused(service, made):
    tag = {"system": "http://terminology.hl7.org/CodeSystem/v3-ObservationValue"}
    part = made | {"meta": {**made["meta"], "tag": [{**tag, "code": "SUBSETTED"}]}}
    answer = update(service, with_reason(part), 1)
    assert answer.status_code == 422
    assert issues(answer)[0]["expression"] == ["QuestionnaireResponse.meta"]
    assert create(service, part).status_code == 422


def test_cor_02_entered_in_error_withdraws_the_exam(service, made):
    assert refusal(update(service, made | {"status": "entered-in-error"}, 1), 422, "reason-missing")
    answer = update(service, with_reason(made | {"status": "entered-in-error"}), 1)
    assert answer.status_code == 200, answer.text
    body = answer.json()
    assert (body["status"], body["item"]) == ("entered-in-error", made["item"])
    assert report(service)["status"] == "entered-in-error"
    assert update(service, with_reason(made), 2).status_code == 422
    assert create(service, form()).status_code == 409


def test_a_withdrawal_cannot_change_answers(service, made, other):
    sent = with_reason(other | {"status": "entered-in-error"})
    assert refusal(update(service, sent, 1), 422, "not-kept") == ["QuestionnaireResponse.item"]
    assert read(service, made) == made


def test_a_draft_is_withdrawn_by_its_form(service):
    draft = create(service, form("draft")).json()
    answer = update(service, with_reason(draft | {"status": "entered-in-error"}), 1)
    assert answer.status_code == 200, answer.text
    again = update(service, with_reason(draft | {"status": "entered-in-error"}), 1)
    assert (again.status_code, again.headers["etag"]) == (200, 'W/"2"')


@pytest.mark.parametrize("asked", ["minimal", "representation", "OperationOutcome"])
def test_neg_10_prefer_on_create_and_update(service, asked):
    created = create(service, form(), Prefer=f"return={asked}")
    (resource,) = (e["resource"] for e in service.get(PATH).json()["entry"])
    sent = copy.deepcopy(resource)
    angles(sent["item"])[0]["value"] -= 5
    changed = update(service, with_reason(sent), 1, Prefer=f"return={asked}; x, wait=5")
    changed = (
        changed
        if changed.headers.get("preference-applied")
        else update(service, with_reason(sent), 1, Prefer=f"return={asked}")
    )
    for answer, status, number in ((created, 201, 1), (changed, 200, 2)):
        assert answer.status_code == status
        assert answer.headers["location"].endswith(f"/_history/{number}")
        assert answer.headers["preference-applied"] == f"return={asked}"
        kind = {} if asked == "minimal" else answer.json()
        expected = {"representation": "QuestionnaireResponse"}.get(asked, asked)
        assert kind.get("resourceType", "minimal") == expected


def test_a_rule_of_the_exam_names_the_place_in_the_form(service):
    sent = form()
    angles(sent["item"])[0]["value"] = 400
    answer = create(service, sent)
    assert answer.status_code == 422
    places = [issue["expression"][0] for issue in issues(answer)]
    assert any(re.match(r"QuestionnaireResponse\.item\[\d+\].*\.value", one) for one in places)
    assert total(service) == 0


def test_a_form_follows_a_correction_by_another_way(service, made):
    exam = example(NAME)
    exam["note"] = "Seen with an interpreter."
    identity = service.post("/exams", raw_example(NAME)).json()["id"]
    answer = service.put(f"/exams/{identity}", {"exam": exam, "reason": "x"}, If_Match='W/"1"')
    assert answer.status_code == 200, answer.text
    now = read(service, made)
    assert now["meta"]["versionId"] == "2"
    assert "Seen with an interpreter." in str(now["item"])
    withdrawn = service.post(
        f"/exams/{identity}/withdrawal", {"reason": "Wrong person."}, If_Match='W/"2"'
    )
    assert withdrawn.status_code == 200
    last = read(service, made)
    assert (last["meta"]["versionId"], last["status"]) == ("3", "entered-in-error")
    assert last["item"] == now["item"]


def test_prv_03_provenance_names_the_form_as_its_source(service, made, other):
    update(service, with_reason(other), 1)
    records = [e["resource"] for e in service.get("/fhir/Provenance").json()["entry"]]
    sources = {
        entity["what"]["reference"]: entity["what"]["identifier"]["value"]
        for record in records
        for entity in record["entity"]
        if entity["role"] == "source"
    }
    assert set(sources) == {f"QuestionnaireResponse/{made['id']}/_history/{n}" for n in (1, 2)}
    for reference in sources:
        assert service.get(f"/fhir/{reference}").status_code == 200
    identity = service.post("/exams", raw_example(NAME)).json()["id"]
    versions = service.get(f"/exams/{identity}/versions").json()["versions"]
    assert set(sources.values()) == {one["digest"] for one in versions}


def test_an_exam_that_is_no_form_has_none(service, stored):
    assert stored
    answer = create(service, form("stiff-shoulder"))
    assert refusal(answer, 409, "not-a-form") == ["QuestionnaireResponse.identifier"]
    assert total(service) == 0


def test_a_form_goes_along_in_bundles(service, made, tmp_path):
    from tests.api.serving import Serving

    identity = service.post("/exams", raw_example(NAME)).json()["id"]
    bundle = service.get(f"/exams/{identity}/bundle?type=transaction").json()
    kinds = [entry["resource"]["resourceType"] for entry in bundle["entry"]]
    assert kinds.count("QuestionnaireResponse") == 1
    document = service.get(f"/exams/{identity}/bundle?type=document")
    assert document.status_code == 200
    with Serving(tmp_path / "other.sqlite3") as elsewhere:
        assert set(statuses(post(elsewhere, bundle))) == {"201 Created"}
        there = read(elsewhere, made)
        assert answers(there) == answers(made)
        bundle["entry"][kinds.index("QuestionnaireResponse")]["resource"]["item"].pop()
        assert set(statuses(post(elsewhere, bundle))) == {"200 OK"}


def test_sdc_01_extract_gives_the_transaction_and_stores_nothing(service):
    sent = form()
    answer = service.post(f"{PATH}/$extract", sent, Content_Type=FHIR_JSON)
    assert answer.status_code == 200
    bundle = answer.json()
    assert (bundle["resourceType"], bundle["type"]) == ("Bundle", "transaction")
    assert total(service) == 0
    inside_parameters = {
        "resourceType": "Parameters",
        "parameter": [{"name": "questionnaire-response", "resource": sent}],
    }
    again = service.post(f"{PATH}/$extract", inside_parameters, Content_Type=FHIR_JSON).json()
    assert len(again["entry"]) == len(bundle["entry"])
    assert create(service, sent).status_code == 201
    assert set(statuses(post(service, bundle))) == {"200 OK"}, "equal to the intake mapping"
    for body in ({"resourceType": "Parameters"}, {"resourceType": "Patient"}, {}):
        refused = service.post(f"{PATH}/$extract", body, Content_Type=FHIR_JSON)
        assert refused.status_code in (400, 422)
        assert issues(refused)


def test_txn_08_forms_in_a_batch(service):
    def entry(method, url, resource, **more):
        return {"request": {"method": method, "url": url, **more}, "resource": resource}

    wrong = form(value="F-2")
    angles(wrong["item"])[0]["value"] = 400
    batch = {
        "resourceType": "Bundle",
        "type": "batch",
        "entry": [
            entry("POST", "QuestionnaireResponse", form(value="F-1"), ifNoneExist=CONDITION),
            entry("POST", "QuestionnaireResponse", wrong),
            entry("POST", "QuestionnaireResponse", form(value="F-1"), ifNoneExist=CONDITION),
        ],
    }
    answer = post(service, batch)
    assert [one[:3] for one in statuses(answer)] == ["201", "422", "200"]
    good, bad, _ = answer.json()["entry"]
    assert bad["response"]["outcome"]["issue"][0]["severity"] == "error"
    assert good["response"]["location"].startswith(f"{BASE}{PATH}/")
    stored = good["resource"]
    angles(stored["item"])[0]["value"] -= 5
    path = f"QuestionnaireResponse/{stored['id']}"
    batch["entry"] = [
        entry("PUT", path, with_reason(stored)),
        entry("PUT", path, with_reason(stored), ifMatch='W/"1"'),
    ]
    assert [one[:3] for one in statuses(post(service, batch))] == ["400", "200"]


def test_cap_06_the_flags_say_what_happens(service):
    (rest,) = service.get("/fhir/metadata").json()["rest"]
    assert {one["code"] for one in rest["interaction"]} >= {"transaction", "batch"}
    flags = {one["type"]: one for one in rest["resource"]}["QuestionnaireResponse"]
    assert {one["code"] for one in flags["interaction"]} >= {"create", "update", "read", "vread"}
    created = create(service, form(value="F-1"), If_None_Exist=CONDITION)
    again = create(service, form(value="F-1"), If_None_Exist=CONDITION)
    assert flags["conditionalCreate"] == ((created.status_code, again.status_code) == (201, 200))
    conditional = conditionally(service, form(value="F-1"))
    assert flags["conditionalUpdate"] == (conditional.status_code == 200)
    unknown = update(service, form() | {"id": "new-id"}, 1)
    assert flags["updateCreate"] == (unknown.status_code == 201)
    unpinned = update(service, with_reason(created.json()))
    assert (flags["versioning"] == "versioned-update") == (unpinned.status_code == 400)
    deleted = service.ask("DELETE", f"{PATH}?{CONDITION}")
    assert (flags["conditionalDelete"] == "not-supported") == (deleted.status_code == 405)
    history = service.get(f"{PATH}/{created.json()['id']}/_history")
    assert flags["readHistory"] == (history.status_code == 200)
