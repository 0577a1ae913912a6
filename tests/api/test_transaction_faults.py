"""Nothing posted is lost in silence: a transaction changed at one place is refused, or the same."""

from __future__ import annotations

import copy
import random
from typing import Any

import pytest
from tests.api.serving import Serving, raw_example
from tests.api.transactions import index_of, issues, post, refusal, resource, transaction

NAME = "recovering-shoulder-1"


@pytest.fixture(scope="module")
def original(tmp_path_factory):
    return transaction(tmp_path_factory.mktemp("sender"), NAME)


@pytest.fixture
def bundle(original):
    return copy.deepcopy(original)


@pytest.fixture(scope="module")
def service(tmp_path_factory, original):
    """A service that holds the exam, so that accepting anything else than it shows."""
    with Serving(tmp_path_factory.mktemp("faults") / "exams.sqlite3") as serving:
        assert post(serving, original).status_code == 200
        yield serving


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in JSON below the top."""
    if not isinstance(value, dict | list):
        return []
    found = []
    for name, item in value.items() if isinstance(value, dict) else enumerate(value):
        found.append((*path, name))
        found += places(item, (*path, name))
    return found


def _dropped(holder, name):
    del holder[name]


def _added(holder, name):
    if isinstance(holder[name], dict):
        holder[name]["note"] = [{"text": "Something else."}]
    elif isinstance(holder[name], list):
        holder[name].append({"text": "Something else."})
    else:
        holder[name] = {"text": "Something else."}


def _other(holder, name):
    value = holder[name]
    kinds = {str: f"{value}x", int: 7_000_001, float: 0.125, bool: not value}
    holder[name] = kinds.get(type(value), "x")


def _huge(holder, name):
    holder[name] = 10**40


def _nothing(holder, name):
    holder[name] = None


def _twice(holder, name):
    if isinstance(holder, list):
        holder.append(copy.deepcopy(holder[name]))
    else:
        holder[name] = [holder[name]]


CHANGES = [_dropped, _added, _other, _huge, _nothing, _twice]


@pytest.mark.parametrize("change", CHANGES, ids=lambda one: one.__name__[1:])
def test_a_change_at_one_place_is_refused_or_changes_nothing(service, original, change):
    before = service.post("/exams", raw_example(NAME)).json()
    chance = random.Random(change.__name__)
    everywhere = [path for path in places(original["entry"]) if len(path) > 1]
    refused = 0
    for path in chance.sample(everywhere, 35):
        bundle = copy.deepcopy(original)
        holder = bundle["entry"]
        for step in path[:-1]:
            holder = holder[step]
        change(holder, path[-1])
        answer = post(service, bundle)
        if answer.status_code == 200:
            assert {e["response"]["status"] for e in answer.json()["entry"]} == {"200 OK"}, path
            continue
        refused += 1
        assert 400 <= answer.status_code < 500, (path, answer.text)
        found = issues(answer)
        assert any(one["severity"] == "error" for one in found)
        assert all(one["expression"][0].startswith("Bundle.entry") for one in found), path
    assert service.post("/exams", raw_example(NAME)).json() == before
    assert refused > 10 or change is _dropped


@pytest.mark.parametrize("kind", ["Patient", "Practitioner", "Observation", "DiagnosticReport"])
@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("note", [{"text": "Seen with an interpreter."}]),
        ("extension", [{"url": "https://elsewhere.example.org/x", "valueBoolean": True}]),
        ("contained", [{"resourceType": "Device", "id": "d"}]),
        ("implicitRules", "https://elsewhere.example.org/rules"),
        ("text", {"status": "additional", "div": "<div>More than the elements say.</div>"}),
    ],
)
def test_txn_02_what_has_no_place_in_the_profile_is_named(service, bundle, kind, name, value):
    # a note on a finding has a place; on what groups findings it has none
    panel = next(i for i, e in enumerate(bundle["entry"]) if "hasMember" in e["resource"])
    index = panel if kind == "Observation" else index_of(bundle, kind)
    found = bundle["entry"][index]["resource"]
    found[name] = [*found.get(name, []), *value] if isinstance(value, list) else value
    told = refusal(post(service, bundle), 422, "not-kept")
    expected = f"Bundle.entry[{index}].resource.{name}"
    assert any(place.startswith(expected) for place in told), told


def test_a_security_label_is_not_lost_in_silence(service, bundle):
    index = index_of(bundle, "Observation")
    for meta in ({"security": [{"code": "R"}]}, {"tag": [{"code": "SUBSETTED"}]}):
        resource(bundle, "Observation")["meta"] = meta
        (told,) = refusal(post(service, bundle), 400, "bundle-unfit")
        assert told == f"Bundle.entry[{index}].resource.meta.{next(iter(meta))}"


def test_a_derived_value_that_the_service_works_out_otherwise_is_named(service, bundle):
    index = next(i for i, e in enumerate(bundle["entry"]) if "derivedFrom" in e["resource"])
    bundle["entry"][index]["resource"]["valueQuantity"]["value"] = 1
    told = refusal(post(service, bundle), 422, "not-kept")
    assert told == [f"Bundle.entry[{index}].resource.value.value"]


def test_a_number_with_other_digits_is_another_number(service, bundle):
    index = next(i for i, e in enumerate(bundle["entry"]) if "derivedFrom" in e["resource"])
    value = bundle["entry"][index]["resource"]["valueQuantity"]
    value["value"] = float(value["value"])
    assert refusal(post(service, bundle), 422, "not-kept")


def test_an_unknown_resource_is_named(service, bundle):
    strangers = {
        "Condition": {"resourceType": "Condition", "subject": {"display": "x"}},
        "Observation": {"resourceType": "Observation", "status": "final", "code": {"text": "x"}},
    }
    for kind, stranger in strangers.items():
        extra = {
            "fullUrl": "urn:uuid:00000000-0000-4000-8000-000000000000",
            "resource": stranger,
            "request": {"method": "POST", "url": kind},
        }
        told = refusal(
            post(service, {**bundle, "entry": [*bundle["entry"], extra]}), 422, "not-kept"
        )
        assert told == [f"Bundle.entry[{len(bundle['entry'])}].resource"]


def test_a_member_that_fhir_does_not_have_is_not_repeated(service, bundle):
    resource(bundle, "Patient")["HansMeier1969"] = "x"
    answer = post(service, bundle)
    assert refusal(answer, 422, "not-kept") == [
        f"Bundle.entry[{index_of(bundle, 'Patient')}].resource"
    ]
    assert "HansMeier" not in answer.text


@pytest.mark.parametrize(
    ("request_", "element"),
    [
        ({"method": "DELETE", "url": "Observation"}, "method"),
        ({"method": "GET", "url": "Observation"}, "method"),
        ({"method": "POST", "url": "Patient"}, "url"),
        ({"method": "PUT", "url": "Observation/1"}, "url"),
        ({"method": "PUT", "url": "Observation?status=final"}, "url"),
        ({"method": "POST", "url": "Observation", "ifNoneExist": ""}, "ifNoneExist"),
        ({"method": "POST", "url": "Observation", "ifNoneExist": "foo=bar"}, "ifNoneExist"),
        ({"method": "POST", "url": "Observation", "ifNoneExist": "identifier=a|b"}, "ifNoneExist"),
        ({"method": "POST", "url": "Observation", "ifMatch": "1"}, "ifMatch"),
    ],
)
def test_txn_05_wrt_04_a_condition_that_is_not_understood_is_refused(
    service, bundle, request_, element
):
    index = index_of(bundle, "Observation")
    bundle["entry"][index]["request"] = request_
    (told,) = refusal(post(service, bundle), 400, "bundle-unfit")
    assert told == f"Bundle.entry[{index}].request.{element}"


def test_txn_11_two_exams_in_one_transaction_are_refused(service, bundle):
    second = copy.deepcopy(bundle["entry"][index_of(bundle, "DiagnosticReport")])
    second["fullUrl"] = "urn:uuid:00000000-0000-4000-8000-000000000000"
    second["resource"]["identifier"][0]["value"] = "ANOTHER"
    second["request"] = {"method": "POST", "url": "DiagnosticReport"}
    bundle["entry"].append(second)
    told = refusal(post(service, bundle), 422, "not-our-profile")
    assert told == [f"Bundle.entry[{len(bundle['entry']) - 1}].resource"]


def test_a_transaction_without_a_report_holds_no_exam(service, bundle):
    del bundle["entry"][index_of(bundle, "DiagnosticReport")]
    answer = post(service, bundle)
    assert answer.status_code == 422


def test_a_finding_changed_on_the_way_belies_the_digest_in_the_provenance(service, bundle):
    finding = next(e["resource"] for e in bundle["entry"] if "effectiveDateTime" in e["resource"])
    finding["note"] = [{"text": "Added on the way."}]
    told = refusal(post(service, bundle), 422, "not-kept")
    index = index_of(bundle, "Provenance")
    assert told == [f"Bundle.entry[{index}].resource.entity[0].what.identifier.value"]
