"""The index, catalogue, schema, rules, and the description of the API (matrix EXM-17)."""

from __future__ import annotations

import ast
import re

import jsonschema
import pytest
from tests.api.serving import BASE, FHIR_JSON, ROOT, example, inside, raw_example
from tests.api.test_errors import ISSUE_TYPES

from brachium.api.caution import CAUTION

FIXED = ["/", "/catalogue", "/schema/exam", "/rules", "/openapi.json", "/docs"]


@pytest.fixture
def document(service):
    return service.get("/openapi.json").json()


def test_the_index_leads_everywhere_and_cautions(service):
    body = service.get("/").json()
    assert body["caution"] == CAUTION
    for name, link in body["links"].items():
        assert link.startswith(BASE)
        assert service.get(inside(link)).status_code == (405 if name == "exams" else 200), name


@pytest.mark.parametrize("path", FIXED)
def test_what_holds_no_patient_data_may_be_kept_and_checked(service, path):
    first = service.get(path)
    assert first.headers["cache-control"] == "no-cache"
    same = service.get(path, If_None_Match=first.headers["etag"])
    assert (same.status_code, same.content) == (304, b"")


def test_the_catalogue_holds_every_word_of_the_examples(service):
    body = service.get("/catalogue").json()
    joints = {one["joint"]: one for one in body["joints"]}
    for name in ("healthy-adult", "full-arms", "parts-not-tested"):
        for finding in example(name)["findings"]:
            joint = joints[finding["joint"]]
            if finding["kind"] == "motion":
                found = next(m for m in joint["motions"] if m["motion"] == finding["motion"])
                assert finding["mode"] in found["modes"]
            elif finding["kind"] == "strength":
                assert finding["test"] in [one["test"] for one in joint["strength"]]
            elif finding["kind"] != "part":
                sites = {one["site"]: one for one in joint[finding["kind"]]}
                assert finding["sign"] in sites[finding["site"]]["signs"]


def test_every_limit_of_the_catalogue_names_its_source(service):
    body = service.get("/catalogue").json()
    limits = [
        limit
        for joint in body["joints"]
        for part in ("motions", "strength")
        for one in joint[part]
        for limit in one["limits"]
    ]
    assert len(limits) > 20
    assert all(limit["source"] and limit["unit"] for limit in limits)


def test_the_schema_takes_the_examples_and_is_json_schema(service):
    answer = service.get("/schema/exam")
    assert answer.headers["content-type"] == "application/schema+json"
    schema = answer.json()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(example("healthy-adult"), schema, jsonschema.Draft202012Validator)


def test_every_rule_says_why_and_what_to_do(service):
    rows = service.get("/rules").json()["rules"]
    codes = [one["code"] for one in rows]
    assert len(codes) == len(set(codes)) > 40
    for row in rows:
        assert row["title"], row
        assert row["remedy"], row
        assert row["source"], row


def test_the_page_loads_nothing_and_lists_every_operation(service, document):
    answer = service.get("/docs")
    assert not re.search(r"<script|\ssrc=|<link|@import|url\(", answer.text)
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    for path, operations in document["paths"].items():
        for method in operations:
            assert f"<code>{method.upper()} {path}</code>" in answer.text


def test_exm_17_the_document_knows_every_route(service, document):
    served = {
        (method.lower(), route.path)
        for route in service.app.inner.inner.inner.inner.routes
        for method in route.methods
    }
    operations = {
        (method, path): operation
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    }
    assert set(operations) == served
    assert document["openapi"].startswith("3.1")
    for operation in operations.values():
        assert operation["summary"]
        assert operation["description"]
        assert {"413", "500"} <= set(operation["responses"])


def check(document, schema, value):
    """Hold a value against a schema of the document, with the document's references."""
    whole = {**schema, "components": document["components"]}
    jsonschema.validate(value, whole, jsonschema.Draft202012Validator)


def documented(document, method, path, answer):
    responses = document["paths"][path][method]["responses"]
    content = responses[str(answer.status_code)]["content"]
    media = answer.headers["content-type"].partition(";")[0]
    check(document, content[media]["schema"], answer.json())


def test_exm_17_answers_match_the_document(service, document):
    posted = service.post("/exams", raw_example("stiff-shoulder"))
    documented(document, "post", "/exams", posted)
    documented(document, "post", "/exams", service.post("/exams", raw_example("stiff-shoulder")))
    dry = service.post("/exams?dry-run=true", raw_example("child"))
    documented(document, "post", "/exams", dry)
    for name in ("not-json", "missing-side"):
        for accept in ("application/json", FHIR_JSON):
            answer = service.post("/exams", raw_example(f"refused/{name}"), Accept=accept)
            documented(document, "post", "/exams", answer)
    where = f"/exams/{posted.json()['id']}"
    for suffix in ("", "/versions", "/bundle", "/codings"):
        documented(document, "get", f"/exams/{{exam_id}}{suffix}", service.get(where + suffix))
        missing = service.get(f"/exams/nope{suffix}")
        documented(document, "get", f"/exams/{{exam_id}}{suffix}", missing)
    withdrawal = service.post(f"{where}/withdrawal", {"reason": "x"})
    documented(document, "post", "/exams/{exam_id}/withdrawal", withdrawal)
    withdrawn = service.post(f"{where}/withdrawal", {"reason": "x"}, If_Match='W/"1"')
    documented(document, "post", "/exams/{exam_id}/withdrawal", withdrawn)


def test_exm_17_the_example_of_the_document_is_accepted(service, document):
    content = document["paths"]["/exams"]["post"]["requestBody"]["content"]["application/json"]
    sample = content["examples"]["example"]["value"]
    check(document, content["schema"], sample)
    assert len(sample["findings"]) == 2
    assert service.post("/exams", sample).status_code == 201


def codes_in_the_package():
    """Every code that is written where a problem is made."""
    makers = {"Problem", "Listed", "_Kind", "Notice", "Rule"}
    for path in (ROOT / "service" / "brachium").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in makers:
                named = [one.value for one in node.keywords if one.arg == "code"]
                for value in named or node.args[:3]:
                    if isinstance(value, ast.Constant) and re.fullmatch(
                        r"[a-z]+(-[a-z]+)+", str(value.value)
                    ):
                        yield path.name, value.value


def test_err_04_the_table_of_codes_is_complete(service):
    listed = {one["code"] for one in service.get("/rules").json()["rules"]}
    found = {
        (name, code)
        for name, code in codes_in_the_package()
        if name != "decode_finding.py" and code not in ISSUE_TYPES
    }
    assert len(found) > 40
    assert {pair for pair in found if pair[1] not in listed} == set()
