"""Every code of a problem has a page, with a request that meets it and one that passes."""

from __future__ import annotations

from html import escape

import orjson
import pytest
from tests.api.serving import Serving

from brachium.api.rules import listed
from brachium.api.worked import Request, worked
from brachium.exam.model import RULES

CODES = {row.code: row for row in listed(RULES)}
# what depends on the state of the service or on its tables, and not on a request alone
UNPROVOKED = {"body-too-large", "expected-version-missing", "store-unavailable", "unforeseen"}
UNPROVOKED |= {
    "bundle-too-long",
    "response-edition",
    "part-unfit",
    "unmapped-concept",
    "unverified-code",
}
UNPROVOKED |= {"login-needed", "token-unknown", "token-expired", "scope-missing", "tls-needed"}
UNPROVOKED |= {"this-machine-only", "too-many-requests"}
UNPROVOKED |= {"facility-elsewhere", "of-one-organization"}
UNPROVOKED |= {"include-incomplete", "search-too-wide"}
UNPROVOKED |= {"invariant-not-evaluated", "validation-limit"}
UNPROVOKED |= {"exports-running", "polled-too-fast", "export-failed", "no-such-range"}
UNPROVOKED |= {"export-parameter-ignored", "resource-unreadable"}


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("worked") / "exams.sqlite3") as serving:
        yield serving


def sent(service: Serving, request: Request):
    return service.ask(
        request.method, request.path, headers=dict(request.headers), content=request.body.encode()
    )


def named(answer) -> set[str]:
    """The codes of all problems in an answer, whichever of its forms it has."""
    body = orjson.loads(answer.content) if answer.content else {}
    if "entry" in body:
        outcomes = [
            found
            for e in body["entry"]
            if (found := e.get("response", {}).get("outcome"))
            or (e.get("search", {}).get("mode") == "outcome" and (found := e["resource"]))
        ]
        body = {"issue": [issue for one in outcomes for issue in one["issue"]]}
    issues = body.get("issue", ())
    return {p["code"] for p in body.get("problems", ())} | {
        coding["code"] for issue in issues for coding in issue["details"]["coding"]
    }


def test_err_04_every_code_has_requests_or_cannot_be_brought_about():
    assert set(worked()) == set(CODES) - UNPROVOKED


@pytest.mark.parametrize("code", sorted(worked()))
def test_err_04_the_request_of_a_page_meets_its_code_and_the_other_passes(service, code):
    *before, meant = worked()[code].provokes
    for request in before:
        assert sent(service, request).is_success
    answer = sent(service, meant)
    assert code in named(answer) or _status_alone(answer, code), answer.text
    # a judgement that was asked for is an answer, whatever it says (WRT-13)
    asked_for = "$validate" in meant.path
    assert answer.is_error >= (CODES[code].severity == "error" and not asked_for)
    for request in worked()[code].passes:
        answer = sent(service, request)
        assert answer.is_success, answer.text
        assert code not in named(answer), answer.text


def _status_alone(answer, code: str) -> bool:
    """A problem document that carries the nearer reasons names its own code in ``type``."""
    return orjson.loads(answer.content).get("type", "").endswith(f"/rules/{code}")


@pytest.mark.parametrize("code", sorted(CODES))
def test_every_code_has_a_page_with_reason_way_out_and_source(service, code):
    answer = service.get(f"/rules/{code}", accept="text/html")
    assert answer.status_code == 200
    row = CODES[code]
    for told in (row.code, row.title, row.reason, row.remedy, row.source):
        assert escape(told) in answer.text
    data = orjson.loads(service.get(f"/rules/{code}").content)
    assert (data["code"], data["remedy"]) == (code, row.remedy)
    assert bool(data["passes"]) == bool(data["provokes"]) == (code not in UNPROVOKED)


def test_the_problem_document_leads_to_the_page(service):
    answer = service.get("/exams/unknown")
    address = answer.json()["type"]
    assert service.get(address[address.index("/rules/") :]).status_code == 200


def test_an_unknown_code_has_no_page(service):
    assert service.get("/rules/nothing-of-the-sort").status_code == 404
    assert service.get("/rules/refused?x=1").status_code == 400
