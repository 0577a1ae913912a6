"""What every Observation of every example has to hold, read as a receiver would read it."""

from __future__ import annotations

import json
from functools import cache

import pytest
from tests.examples import golden

OWN = "https://brachium.example.org/fhir/CodeSystem/arm-exam"
SIDES = {"left", "right"}
# what nobody could use without the Observation it qualifies (R4 Observation 10.1.4.3.2)
QUALIFIERS = {
    "axis-convention",
    "extension-deficit-angle",
    "hyperextension-angle",
    "severity",
    "arm-position",
    "limited-by",
    "trial",
    "side-ratio",
    "lesser-side",
    "original-quantity",
}

every_example = pytest.mark.parametrize("path", golden.EXAMS, ids=golden.NAMES)


@cache
def coded(path):
    """The posted exam and the resources of its collection, by reference."""
    code, text = golden.bundle(path, "collection")
    assert code == 0
    entries = json.loads(text)["entry"]
    resources = {f"{r['resourceType']}/{r['id']}": r for r in (e["resource"] for e in entries)}
    return json.loads(path.read_bytes()), resources


def observations(path):
    return [r for r in coded(path)[1].values() if r["resourceType"] == "Observation"]


def references(resource, member):
    return [one["reference"] for one in resource.get(member, ())]


def own_codes(concept):
    return [c["code"] for c in concept["coding"] if c["system"] == OWN]


def side_words(text):
    return SIDES & set(text.lower().replace(",", " ").split())


def values(element):
    return [name for name in element if name.startswith("value")]


@every_example
def test_exm_02_every_observation_is_named_by_the_exam_and_a_key(path):
    exam, _ = coded(path)
    named = [one for observation in observations(path) for one in observation["identifier"]]
    system, value = exam["identifier"]["system"], exam["identifier"]["value"]
    assert {one["system"] for one in named} == {system}
    keys = [one["value"].removeprefix(f"{value}/") for one in named]
    assert len(keys) == len(set(keys)) == len(observations(path))
    posted = {
        finding["key"]
        for finding in exam["findings"]
        if finding.get("absent", {}).get("reason") != "not-examined"
    }
    assert posted - {key.removesuffix("/left").removesuffix("/right") for key in keys} == set()


@every_example
def test_obs_03_a_value_a_reason_or_members_and_never_two_of_them(path):
    for observation in observations(path):
        has_reason = "dataAbsentReason" in observation
        told = [bool(values(observation)), has_reason, "hasMember" in observation]
        assert told.count(True) == 1, observation["code"]["text"]
        assert (observation["status"] == "cancelled") == has_reason


@every_example
def test_obs_06_one_coding_of_ours_and_no_code_twice(path):
    for observation in observations(path):
        codings = [(c["system"], c["code"]) for c in observation["code"]["coding"]]
        assert len(own_codes(observation["code"])) == 1
        assert len(codings) == len(set(codings))


@every_example
def test_obs_09_components_qualify_and_never_tell_of_the_other_side(path):
    for observation in observations(path):
        (code,) = own_codes(observation["code"])
        about = side_words(observation["bodySite"]["text"])
        for component in observation.get("component", ()):
            names = own_codes(component["code"])
            assert len(values(component)) == 1
            assert code not in names  # obs-7
            if "derivedFrom" in observation:
                continue
            assert set(names) <= QUALIFIERS
            words = json.dumps(component)
            assert side_words(words.replace('"', " ")) <= about, observation["code"]["text"]


@every_example
def test_obs_10_the_report_leads_to_every_observation_once_in_two_steps(path):
    _, resources = coded(path)
    (report,) = (r for r in resources.values() if r["resourceType"] == "DiagnosticReport")
    panels = references(report, "result")
    leaves = [leaf for panel in panels for leaf in references(resources[panel], "hasMember")]
    everything = panels + leaves
    assert sorted(everything) == sorted(f"Observation/{o['id']}" for o in observations(path))
    assert not any("hasMember" in resources[leaf] for leaf in leaves)
    assert not any(values(resources[panel]) for panel in panels)


@every_example
def test_obs_11_what_is_computed_names_sources_of_this_exam(path):
    _, resources = coded(path)
    for observation in observations(path):
        sources = references(observation, "derivedFrom")
        calculated = "calculated" in json.dumps(observation.get("method", {})).lower()
        assert bool(sources) == calculated, observation["code"]["text"]
        assert set(sources) <= set(resources)


def test_something_of_every_kind_is_in_the_examples():
    everything = [one for path in golden.EXAMS for one in observations(path)]
    for member in ("dataAbsentReason", "hasMember", "component", "derivedFrom"):
        assert any(member in one for one in everything), member
