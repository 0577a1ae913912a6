"""What writing a form needs of a token (SMART App Launch 2.2, scopes for clinical data)."""

from __future__ import annotations

import pytest
from tests.api.forms import PATH, SYSTEM, form, with_reason
from tests.api.serving import FHIR_JSON


def sent(service, method, path, body, scope, **headers):
    held = service.as_client(scope=scope) if scope else {}
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    given = {**held, "Content-Type": FHIR_JSON, **named}
    return service.ask(method, path, json=body, headers=given)


@pytest.mark.parametrize(
    ("scope", "status"),
    [
        ("", 401),
        ("system/Observation.cruds", 403),
        ("system/QuestionnaireResponse.rus", 403),
        ("system/QuestionnaireResponse.c", 201),
        ("system/*.c", 201),
    ],
)
def test_sec_08_creating_a_form_needs_its_scope(guarded, scope, status):
    answer = sent(guarded, "POST", PATH, form(), scope)
    assert answer.status_code == status, answer.text
    if status == 403:
        assert "system/QuestionnaireResponse.c" in answer.text


def test_sec_08_a_condition_finds_and_shows_like_a_search(guarded):
    condition = {"If_None_Exist": f"identifier={SYSTEM}|F-1"}
    for scope, status in (
        ("system/QuestionnaireResponse.c", 403),
        ("system/QuestionnaireResponse.crs", 201),
    ):
        answer = sent(guarded, "POST", PATH, form(value="F-1"), scope, **condition)
        assert answer.status_code == status, answer.text


def test_sec_08_changing_a_form_needs_its_scope(guarded):
    made = sent(guarded, "POST", PATH, form(), "system/*.c").json()
    changed = with_reason(made | {"status": "entered-in-error"})
    path = f"{PATH}/{made['id']}"
    for scope, status in (("system/*.crs", 403), ("system/QuestionnaireResponse.u", 200)):
        answer = sent(guarded, "PUT", path, changed, scope, If_Match='W/"1"')
        assert answer.status_code == status, answer.text
    extract = f"{PATH}/$extract"
    assert sent(guarded, "POST", extract, form(), "system/*.rs").status_code == 403
