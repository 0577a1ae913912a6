"""Resources in part, and the facts about them (matrix SRC-17, SRC-18)."""

from __future__ import annotations

from functools import partial

import orjson
import pytest

from brachium.api.partial import SUBSETTED, part_of
from brachium.api.served import SERVED
from brachium.api.summary_elements import ALWAYS, FACTS

TEXT = (
    b'{"resourceType":"Observation","id":"o","meta":{"versionId":"1"},"text":{"div":"-"},'
    b'"status":"final","_status":{"id":"s"},"category":[{"text":"exam"}],"code":{"text":"c"},'
    b'"subject":{"reference":"Patient/p"},"valueQuantity":{"value":12.50,"unit":"deg"},'
    b'"component":[{"code":{"text":"d"},"valueInteger":6,"interpretation":[{"text":"H"}]}],'
    b'"method":{"text":"m"}}'
)
CUT = partial(part_of, TEXT, "Observation")


def members(text: bytes) -> list[str]:
    return list(orjson.loads(text))


def test_src_17_the_summary_has_the_summary_elements_and_the_tag():
    found = orjson.loads(CUT("true", ()))
    assert found["meta"]["tag"] == [SUBSETTED]
    assert {*found} == {
        *("resourceType", "id", "meta", "status", "_status", "code", "subject"),
        *("valueQuantity", "component"),
    }
    assert found["component"] == [{"code": {"text": "d"}, "valueInteger": 6}]


def test_src_17_text_and_data():
    assert members(CUT("text", ())) == [
        *("resourceType", "id", "meta", "text", "status", "_status", "code")
    ]
    data = CUT("data", ())
    assert members(data) == [one for one in members(TEXT) if one != "text"]
    assert orjson.loads(data)["meta"]["tag"] == [SUBSETTED]


def test_src_18_elements_keep_what_must_be_there():
    found = members(CUT("false", ("category", "value")))
    assert found == [
        *("resourceType", "id", "meta", "status", "_status", "category", "code", "valueQuantity")
    ]
    assert "subject" not in members(CUT("false", ("valueQuantity",)))


def test_neg_06_a_part_keeps_the_digits_and_the_whole_keeps_its_bytes():
    assert b'"value":12.50,' in CUT("true", ())
    assert CUT("false", ()) is TEXT
    assert CUT("count", ()) is TEXT


def test_a_longer_name_is_no_choice_of_type():
    text = b'{"resourceType":"Device","id":"d","status":"active","statusReason":[{"text":"x"}]}'
    assert "statusReason" not in members(part_of(text, "Device", "false", ("url",)))


@pytest.mark.parametrize("kind", sorted(SERVED))
def test_every_served_type_has_its_facts(kind):
    assert kind in FACTS


@pytest.mark.parametrize("kind", sorted(FACTS))
def test_src_17_the_facts_are_those_of_the_definitions(kind, fhir_definitions):
    path = fhir_definitions / f"StructureDefinition-{kind}.json"
    elements = orjson.loads(path.read_bytes())["snapshot"]["element"][1:]
    below = [(one["path"].partition(".")[2], one) for one in elements]
    own = [(path, one) for path, one in below if path.rpartition(".")[2] not in ALWAYS]
    members = [(path, one) for path, one in own if "." not in path]
    facts = FACTS[kind]
    assert facts.summary.split() == [path for path, one in own if one.get("isSummary")]
    assert facts.mandatory.split() == [path for path, one in members if one["min"]]
    assert facts.modifiers.split() == [path for path, one in members if one.get("isModifier")]
    always = {path for path, one in below if one.get("isModifier") or one.get("isSummary")}
    assert {"meta", "implicitRules"} <= always
