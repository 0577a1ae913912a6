"""What $validate finds in what the service made, and in the same with one fault planted."""

from __future__ import annotations

import copy
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.oracles.sample import made_by_the_service
from tests.profiles.judged import BUNDLES, CANONICAL, OWN, R4, errors, golden, judged, resources

from brachium.formats.incoming import parse
from brachium.problems import Severity

# every exam of moderate size as a collection, and some as transactions: the same code made all
MODERATE = 240_000
GOLDENS = [
    path.stem
    for path in sorted(BUNDLES.glob("*.json"))
    if path.stat().st_size < MODERATE
    and (".collection" in path.name or path.name.startswith(("child", "draft", "parts")))
]


@pytest.mark.parametrize("name", GOLDENS)
def test_wrt_13_what_the_service_hands_out_is_clean(name):
    assert errors(golden(name)) == []


@pytest.mark.parametrize("exam", ["draft", "parts-not-tested", "stiff-shoulder"])
def test_wrt_13_a_document_of_the_service_is_clean(exam):
    raw = (BUNDLES.parent / f"{exam}.json").read_bytes()
    assert errors(made_by_the_service("document", raw).bundle) == []


@pytest.mark.parametrize("name", ["draft.collection", "parts-not-tested.collection"])
def test_wrt_13_each_resource_of_a_bundle_is_clean_alone(name):
    found = [entry["resource"] for entry in golden(name)["entry"]]
    assert len(found) > 10
    for one in found:
        assert errors(one) == [], one["resourceType"]


Fault = Callable[[Any], Any]


@cache
def observation(name: str, has: str, lacks: str = "") -> Any:
    """The first Observation of a bundle that has one member and lacks another."""
    found = resources(golden(name), "Observation")
    return next(one for one in found if has in one and lacks not in one)


def motion() -> Any:
    return copy.deepcopy(observation("draft.collection", "valueQuantity", "derivedFrom"))


def panel() -> Any:
    return copy.deepcopy(observation("draft.collection", "hasMember"))


def absent() -> Any:
    return copy.deepcopy(observation("parts-not-tested.collection", "dataAbsentReason"))


def derived() -> Any:
    return copy.deepcopy(observation("weak-right-arm.collection", "derivedFrom"))


def changed(**members: Any) -> Fault:
    return lambda one: {**one, **members}


def without(name: str) -> Fault:
    return lambda one: {key: value for key, value in one.items() if key != name}


def at(*path: Any, value: Any) -> Fault:
    def plant(one: Any) -> Any:
        inner = one
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = value
        return one

    return plant


FAULTS = [
    (motion, without("status"), "element-count", "required", "Observation"),
    (motion, without("issued"), "element-count", "required", "Observation"),
    (motion, changed(status="ready"), "code-not-bound", "code-invalid", "Observation.status"),
    (motion, changed(status=None), "element-value", "value", "Observation.status"),
    (motion, changed(status=["final"]), "r4-shape", "structure", "Observation.status"),
    (motion, changed(colour="red"), "r4-unknown-element", "structure", "Observation"),
    (motion, changed(_subject={"id": "x"}), "r4-unknown-element", "structure", "Observation"),
    (motion, changed(valueString="x"), "r4-unknown-element", "structure", "Observation"),
    (motion, changed(note=[]), "r4-shape", "structure", "Observation.note"),
    (motion, changed(note=[{}]), "r4-shape", "structure", "Observation.note[0]"),
    (motion, changed(issued="2026-03-02"), "element-value", "value", "Observation.issued"),
    (
        motion,
        changed(effectiveDateTime="2026-02-30"),
        "element-value",
        "value",
        "Observation.effective",
    ),
    (
        motion,
        at("valueQuantity", "value", value="9"),
        "element-value",
        "value",
        "Observation.value.value",
    ),
    (motion, without("bodySite"), "element-count", "required", "Observation"),
    (
        motion,
        at("bodySite", "extension", value=[{"url": "urn:x", "valueCode": "left"}]),
        "element-count",
        "required",
        "Observation.bodySite.extension",
    ),
    (
        motion,
        changed(category=[{"coding": [{"code": "exam"}]}]),
        "element-value",
        "value",
        "Observation.category[0]",
    ),
    (
        motion,
        at("subject", "reference", value="Group/1"),
        "element-value",
        "value",
        "Observation.subject",
    ),
    (motion, without("valueQuantity"), "invariant-broken", "invariant", "Observation"),
    (
        motion,
        changed(dataAbsentReason={"text": "x"}),
        "invariant-broken",
        "invariant",
        "Observation",
    ),
    (
        motion,
        changed(referenceRange=[{"type": {"text": "x"}}]),
        "invariant-broken",
        "invariant",
        "Observation.referenceRange[0]",
    ),
    (
        motion,
        at("valueQuantity", "system", value="urn:other"),
        "invariant-broken",
        "invariant",
        "Observation",
    ),
    (
        motion,
        lambda one: changed(component=[{"code": one["code"], "valueString": "x"}])(one),
        "invariant-broken",
        "invariant",
        "Observation",
    ),
    (
        motion,
        changed(contained=[{"resourceType": "Patient", "id": "p"}]),
        "invariant-broken",
        "invariant",
        "Observation",
    ),
    (
        motion,
        changed(performer=[{"reference": "#nobody"}]),
        "invariant-broken",
        "invariant",
        "Observation.performer[0]",
    ),
    (
        motion,
        changed(text={"status": "generated", "div": "<div>x</div>"}),
        "invariant-broken",
        "invariant",
        "Observation.text.div",
    ),
    (
        motion,
        changed(interpretation=[{"coding": [{"system": "urn:x", "code": "L"}]}]),
        "code-not-bound",
        "code-invalid",
        "Observation.interpretation[0]",
    ),
    (
        motion,
        changed(hasMember=[{"reference": "Observation/1"}]),
        "element-count",
        "structure",
        "Observation",
    ),
    (absent, without("dataAbsentReason"), "invariant-broken", "invariant", "Observation"),
    (
        absent,
        changed(dataAbsentReason={"text": "tired"}),
        "invariant-broken",
        "invariant",
        "Observation",
    ),
    (panel, without("hasMember"), "element-count", "required", "Observation"),
    (panel, changed(valueString="x"), "element-count", "structure", "Observation"),
    (derived, without("derivedFrom"), "element-count", "required", "Observation"),
    (derived, without("method"), "element-count", "required", "Observation"),
]


@pytest.mark.parametrize(
    ("make", "plant", "code", "kind", "place"),
    FAULTS,
    ids=[f"{one[0].__name__}-{one[2]}-{index}" for index, one in enumerate(FAULTS)],
)
def test_wrt_13_a_planted_fault_is_found_at_its_place(make, plant, code, kind, place):
    good = make()
    assert errors(copy.deepcopy(good)) == []
    found = errors(plant(good))
    assert (code, kind, place) in [(one.code, one.issue_type, one.place) for one in found]
    for one in found:
        assert one.message.endswith((".", "valid.")), one
        assert one.remedy
        assert one.source


def test_wrt_13_every_problem_is_told_at_once():
    one = motion()
    del one["issued"]
    one |= {"status": "ready", "colour": "red", "note": []}
    found = {two.code for two in errors(one)}
    assert found >= {"element-count", "code-not-bound", "r4-unknown-element", "r4-shape"}


def test_msk_ext_1_an_end_of_extension_that_hides_its_direction_is_found():
    bundle = golden("hyperextending-elbow.collection")
    ends = [
        one
        for one in resources(bundle, "Observation")
        if any(
            part["code"]["coding"][0]["code"] == "axis-convention"
            for part in one.get("component", ())
        )
    ]
    assert ends
    hidden = [one for one in ends if len(one["component"]) > 1]
    assert hidden
    for one in hidden:
        assert errors(copy.deepcopy(one)) == []
        one["component"] = one["component"][:1]
        assert [two.message.split(" ")[2] for two in errors(one)] == ["arm-end"]


def test_obs_05_a_side_that_contradicts_a_code_is_found():
    one = next(
        one
        for one in resources(golden("draft.collection"), "Observation")
        if any("- right" in c.get("display", "") for c in one["code"]["coding"])
    )
    side = one["bodySite"]["extension"][0]["valueCodeableConcept"]["coding"][0]
    side |= {"code": "7771000"}
    side.pop("display", None)
    assert [(two.code, two.place) for two in errors(one)] == [
        ("side-contradiction", "Observation.bodySite")
    ]


FOREIGN = {
    "resourceType": "Observation",
    "status": "final",
    "code": {"coding": [{"system": "http://loinc.org", "code": "8310-5"}]},
    "valueQuantity": {"value": 37},
}


def test_wrt_13_an_observation_of_others_is_called_valid_and_not_ours():
    (only,) = errors(FOREIGN)
    assert only.code == "not-ours"
    assert "it is valid" in only.message
    assert "/exams" in only.remedy
    assert judged(FOREIGN, f"{R4}/Observation") == ()
    wrong = {**FOREIGN, "status": "x"}
    assert {one.code for one in errors(wrong)} == {"not-ours", "code-not-bound"}
    assert "it is valid" not in "".join(one.message for one in errors(wrong))


def test_wrt_13_profiles_that_are_asked_for():
    own = f"{CANONICAL}/StructureDefinition/arm-exam-motion"
    assert errors(motion(), own) == []
    assert errors(motion(), f"{own}|1.0") == []
    assert {one.code for one in errors(FOREIGN, own)} == {"element-count", "invariant-broken"}
    other = f"{CANONICAL}/StructureDefinition/arm-exam-report"
    assert [one.code for one in errors(motion(), other)] == ["profile-unknown"]
    assert [one.code for one in errors(motion(), "urn:other")] == ["profile-unknown"]
    assert [one.code for one in errors(FOREIGN, f"{R4}/Patient")] == ["profile-unknown"]


def test_wrt_13_an_exam_in_a_bundle_is_examined_by_the_rules_of_the_service():
    bundle = golden("draft.transaction")
    index, one = next(
        (index, entry["resource"])
        for index, entry in enumerate(bundle["entry"])
        if "valueQuantity" in entry["resource"] and "derivedFrom" not in entry["resource"]
    )
    one["valueQuantity"]["value"] = 999
    found = [two for two in errors(bundle) if two.place.startswith(f"Bundle.entry[{index}]")]
    assert [two.issue_type for two in found] == ["value"] or found
    assert all(two.pointer == "" for two in found)


@pytest.mark.parametrize(
    ("plant", "place"),
    [
        (lambda b: b["entry"].pop(0), "Bundle"),
        (lambda b: b["entry"].append(copy.deepcopy(b["entry"][0])), "Bundle"),
        (
            lambda b: b["entry"].append(
                {"fullUrl": "urn:uuid:1", "resource": {"resourceType": "Medication"}}
            ),
            "Bundle.entry[",
        ),
        (lambda b: b.pop("timestamp"), "Bundle"),
        (lambda b: b["entry"][3].pop("fullUrl"), "Bundle.entry[3]"),
        (lambda b: b["entry"][3]["resource"].pop("status"), "Bundle.entry[3].resource"),
    ],
)
def test_wrt_13_a_bundle_that_lacks_or_doubles_something_is_refused(plant, place):
    bundle = golden("draft.collection")
    plant(bundle)
    assert any(one.place.startswith(place) for one in errors(bundle))


def test_aud_04_nothing_that_was_sent_is_in_the_answer():
    one = motion()
    secret = "Annabel-Lee-1969"  # noqa: S105 - what a person is called
    one |= {secret: secret, "status": secret, "language": f" {secret}", "issued": secret}
    one["code"]["coding"].append({"system": OWN, "code": secret})
    one["subject"] = {"reference": f"Group/{secret}", "display": 7}
    one["text"] = {"status": secret, "div": secret}
    told = judged(one)
    assert len(told) > 5
    assert secret not in repr(told)


@pytest.mark.parametrize("width", [1_500, 20_000])
def test_wrt_13_a_large_resource_is_judged_in_bounded_time(width):
    one = motion()
    one["component"] = [{"code": one["code"], "valueString": "x"}] * width
    found = errors(one)
    assert len(found) <= 202
    entries = [{"fullUrl": f"urn:uuid:{n % 7}", "resource": FOREIGN} for n in range(width)]
    found = errors({"resourceType": "Bundle", "type": "collection", "entry": entries})
    assert "invariant-broken" in {one.code for one in found} or width > 5_000
    assert ("validation-limit" in {one.code for one in found}) is (width > 5_000)


def test_wrt_13_deep_nesting_ends_in_an_answer():
    inner: Any = {"url": "urn:x", "valueString": "x"}
    for _ in range(3000):
        inner = {"url": "urn:x", "extension": [inner]}
    found = errors({**FOREIGN, "extension": [inner]})
    assert "validation-limit" in {one.code for one in found}


ODD = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["coding", "code", "system", "reference", "extension", "url", "value", "x"]
            ),
            inner,
            max_size=3,
        )
    ),
    max_leaves=8,
)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_wrt_13_whatever_comes_in_is_answered(data):
    one = data.draw(st.sampled_from([motion, panel, absent, derived]))()
    for _ in range(data.draw(st.integers(1, 3))):
        place, name = one, data.draw(st.sampled_from(sorted(one)))
        while isinstance(place[name], dict) and place[name] and data.draw(st.booleans()):
            place = place[name]
            name = data.draw(st.sampled_from(sorted(place)))
        place[name] = data.draw(ODD)
    for found in judged(one):
        assert found.severity in Severity
    for name in ("Bundle", "QuestionnaireResponse"):
        judged(
            {
                "resourceType": name,
                "type": "collection",
                "entry": [{"resource": one}],
                "item": [one],
            }
        )


RESPONSES = sorted((BUNDLES.parent / "responses").glob("*.json"))


def test_wrt_13_a_form_is_read_and_examined():
    assert RESPONSES
    for path in RESPONSES[:4]:
        form = parse(path.read_bytes())
        assert errors(form) == [], path.name
        form["status"] = "ready"
        form["item"][0]["item"] = form["item"][0]["item"][1:]
        found = errors(form)
        assert "QuestionnaireResponse.status" in {one.place for one in found}
        assert any(one.code.startswith("response") or "missing" in one.code for one in found), found
