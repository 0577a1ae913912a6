"""What is not understood is refused: every problem at once, each with its place and a way out."""

from __future__ import annotations

import copy
from decimal import Decimal

import jiter
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.coding.coded import CANONICAL, tables
from tests.coding.responses import at, example, findings, nodes, questionnaire, read, written

from brachium.coding.identity import party_id
from brachium.coding.response_problems import LISTED
from brachium.coding.response_reading import everything_wrong
from brachium.exam.reading import examine
from brachium.exam.rule import ModelOptions
from brachium.problems import Severity

ROOT = "QuestionnaireResponse"
OWN = f"{CANONICAL}/CodeSystem/arm-exam"
SAMPLES = ("stiff-hand", "stiff-shoulder", "ulnar-weakness", "parts-not-tested")


def response(name="stiff-shoulder"):
    return copy.deepcopy(written(example(name)))


def refused(sent):
    """The refusing problems as (code, place); there is no exam."""
    found = read(sent)
    errors = [one for one in found.problems if one.severity is Severity.ERROR]
    assert errors
    assert found.exam is None
    with pytest.raises(LookupError):
        found.content()
    for one in found.problems:
        assert one.remedy
        assert one.expression == one.place
        assert one.place.startswith(ROOT)
    return [(one.code, one.place) for one in errors]


def question(sent, end, number=0):
    """Place and item of the nth question whose linkId ends so."""
    return [one for one in nodes(sent) if one[1]["linkId"].endswith(end)][number]


@pytest.mark.parametrize("sent", [None, [], 1, "x", {}, {"resourceType": "Questionnaire"}])
def test_what_is_no_response_is_refused(sent):
    assert refused(sent) == [("response-shape", ROOT)]


@pytest.mark.parametrize(
    ("member", "value", "code", "place"),
    [
        ("questionnaire", "https://other.example.org/Questionnaire/x", "foreign", ".questionnaire"),
        ("questionnaire", None, "missing", ".questionnaire"),
        ("status", "stopped", "status", ".status"),
        ("status", ["completed"], "status", ".status"),
        ("status", None, "status", ".status"),
        ("identifier", None, "party", ".identifier"),
        ("identifier", {"value": "1"}, "party", ".identifier"),
        (
            "identifier",
            {"system": "urn:x", "value": "1", "use": "old"},
            "unknown-member",
            ".identifier",
        ),
        ("subject", None, "missing", ".subject"),
        ("subject", {"reference": "Patient/1"}, "party", ".subject.identifier"),
        (
            "subject",
            {"type": "Group", "identifier": {"system": "urn:x", "value": "1"}},
            "party",
            ".subject.type",
        ),
        ("author", {"identifier": "E-1"}, "shape", ".author.identifier"),
        ("author", 7, "shape", ".author"),
        ("encounter", {"display": "x"}, "party", ".encounter.identifier"),
        ("contained", [{"resourceType": "Patient"}], "unknown-member", ".contained"),
        ("basedOn", [{"reference": "ServiceRequest/1"}], "unknown-member", ".basedOn"),
        ("partOf", [{"reference": "Observation/1"}], "unknown-member", ".partOf"),
        ("source", {"reference": "Patient/1"}, "unknown-member", ".source"),
        ("implicitRules", "urn:x", "unknown-member", ".implicitRules"),
        ("modifierExtension", [{"url": "urn:x"}], "unknown-member", ".modifierExtension"),
        ("extension", [{"url": "urn:x", "valueString": "x"}], "unknown-member", ".extension"),
        ("meta", {"security": [{"code": "R"}]}, "unknown-member", ".meta"),
        ("text", {"status": "additional", "div": "<div>more</div>"}, "unknown-member", ".text"),
        ("somethingElse", 1, "unknown-member", ""),
        ("item", {"linkId": "x"}, "shape", ""),
    ],
)
def test_heads_that_are_not_understood(member, value, code, place):
    sent = response()
    sent[member] = value
    if value is None:
        del sent[member]
    assert (f"response-{code}", ROOT + place) in refused(sent)


def test_a_reference_must_lead_to_whom_the_identifier_names():
    sent = response()
    identifier = example("stiff-shoulder").patient.identifier
    own = f"Patient/{party_id('Patient', identifier)}"
    for good in (own, f"https://brachium.example.org/fhir/{own}"):
        sent["subject"]["reference"] = good
        assert read(sent).exam is not None
    for bad in ("Patient/1", own[:-1], 3):
        sent["subject"]["reference"] = bad
        assert refused(sent) == [("response-contradiction", f"{ROOT}.subject.reference")]


def test_what_says_nothing_of_the_arms_is_named_and_not_kept():
    sent = response()
    sent |= {"id": "x", "language": "en", "authored": "2026-03-02T10:20:00Z"}
    sent |= {"meta": {"versionId": "1", "profile": ["urn:x"]}}
    sent |= {"text": {"status": "generated", "div": "<div>x</div>"}}
    sent["subject"]["display"] = "somebody"
    found = read(sent)
    assert found.exam == read(response()).exam
    told = {(one.code, one.place) for one in found.problems}
    names = ("authored", "language", "text", "subject.display")
    assert told == {("response-not-kept", f"{ROOT}.{name}") for name in names}
    assert "somebody" not in str(found.problems)


@pytest.mark.parametrize("canonical", ["", "|2019.01"])
def test_another_edition_is_read_and_warned_about(canonical):
    sent = response()
    sent["questionnaire"] = questionnaire()["url"] + canonical
    found = read(sent)
    assert found.exam is not None
    (problem,) = found.problems
    assert (problem.code, problem.severity) == ("response-edition", Severity.WARNING)
    assert problem.place == f"{ROOT}.questionnaire"


def test_other_words_than_ours_are_warned_about_once():
    sent = response()
    place, node = question(sent, ".side")
    node["text"] = "Which arm?"
    node["answer"][0]["valueCoding"]["display"] = "the other one"
    (problem,) = read(sent).problems
    assert (problem.code, problem.severity) == ("response-wording", Severity.WARNING)
    assert problem.place.startswith(place)
    assert "2 texts" in problem.message
    texts = {one["linkId"]: one["text"] for _, one in nodes(questionnaire(), "Questionnaire")}
    again = response()
    for _, one in nodes(again):
        one["text"] = texts[one["linkId"]]
    assert read(again).problems == ()


def _rename(node, draw):
    node["linkId"] += draw(st.sampled_from(["x", ".", "-2"]))
    return "response-unknown-item", ""


def _no_link(node, _):
    del node["linkId"]
    return "response-unknown-item", ""


def _more(node, draw):
    member = draw(st.sampled_from(["extension", "definition", "id", "item", "_linkId"]))
    node[member] = [{"url": "urn:x"}]
    return "response-unknown-member", ""


def _answer_more(node, draw):
    member = draw(st.sampled_from(["extension", "item", "id", "_valueString"]))
    node["answer"][-1][member] = "x"
    return "response-unknown-member", f".answer[{len(node['answer']) - 1}]"


def _other_type(node, draw):
    (name,) = node["answer"][0]
    other = draw(
        st.sampled_from(["valueInteger", "valueString", "valueCoding", "valueBoolean"]).filter(
            lambda one: one != name
        )
    )
    node["answer"][0] = {other: 1}
    return "response-answer-type", ".answer[0]"


def _wrong_json(node, _):
    (name,) = node["answer"][0]
    objects = ("valueCoding", "valueQuantity", "valueReference")
    node["answer"][0][name] = [1] if name in objects else {"x": 1}
    code = "response-shape" if name in objects else "response-answer-type"
    return code, ".answer[0]"


def _twice(node, _):
    if node["linkId"].endswith((".limited-by", ".trials")):
        return None
    node["answer"] = [*node["answer"], copy.deepcopy(node["answer"][0])]
    return "response-several", ".answer[1]"


def _not_offered(node, draw):
    (name,) = node["answer"][0]
    value = node["answer"][0][name]
    if name == "valueCoding":
        value[draw(st.sampled_from(["system", "code"]))] = "nowhere"
    elif name == "valueQuantity":
        value[draw(st.sampled_from(["system", "code", "unit"]))] = "furlong"
    else:
        return None
    return "response-option", ".answer[0]"


def _comparator(node, _):
    if "valueQuantity" not in node["answer"][0]:
        return None
    node["answer"][0]["valueQuantity"]["comparator"] = "<"
    return "response-unknown-member", ".answer[0]"


def _text_number(node, draw):
    if "valueQuantity" not in node["answer"][0]:
        return None
    node["answer"][0]["valueQuantity"]["value"] = draw(st.sampled_from(["20", True, None, {}]))
    return "response-answer-type", ".answer[0]"


MUTATIONS = (
    _rename,
    _no_link,
    _more,
    _answer_more,
    _other_type,
    _wrong_json,
    _twice,
    _not_offered,
    _comparator,
    _text_number,
)


@settings(deadline=None, max_examples=250)
@given(st.data())
def test_sdc_01_a_mutated_answer_is_refused_with_its_place(data):
    sent = response(data.draw(st.sampled_from(SAMPLES)))
    questions = [one for one in nodes(sent) if "answer" in one[1]]
    place, node = data.draw(st.sampled_from(questions))
    expected = data.draw(st.sampled_from(MUTATIONS))(node, data.draw)
    if expected is None:
        return
    code, inner = expected
    assert (code, place + inner) in refused(sent)


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_a_question_without_which_nothing_is_understood_is_missed_at_its_group(data):
    sent = response(data.draw(st.sampled_from(SAMPLES)))
    needed = (".side", ".site", ".sign", ".motion", ".test", ".digit", ".effective", ".sex")
    questions = [
        one for one in nodes(sent) if "answer" in one[1] and one[1]["linkId"].endswith(needed)
    ]
    place, node = data.draw(st.sampled_from(questions))
    if data.draw(st.booleans()):
        del node["answer"]  # asked and left open
    else:
        group = at(sent, place.rpartition(".")[0])
        group["item"] = [one for one in group["item"] if one is not node]
    assert refused(sent) == [("response-missing", place.rpartition(".")[0])]


def test_an_instance_that_was_opened_and_left_empty_says_nothing():
    sent = response()
    exam = read(sent).exam
    section = sent["item"][2]["item"][0]
    opened = {"linkId": section["item"][0]["linkId"]}
    section["item"] += [opened, {**opened, "item": [{"linkId": f"{opened['linkId']}.side"}]}]
    found = read(sent)
    assert (found.exam, found.problems) == (exam, ())
    section["item"][-1]["item"][0]["answer"] = [{"valueString": "left"}]
    assert {code for code, _ in refused(sent)} == {"response-answer-type", "response-missing"}


def test_what_stands_in_another_group_is_refused_there():
    sent = response()
    (place, group), (_, other) = findings(sent)[0], findings(sent)[-1]
    group["item"].append(copy.deepcopy(other["item"][-1]))
    assert refused(sent) == [("response-unknown-item", f"{place}.item[{len(group['item']) - 1}]")]


def test_a_section_or_question_that_stands_twice_is_refused():
    sent = response()
    sent["item"].append(copy.deepcopy(sent["item"][2]))
    assert refused(sent) == [("response-several", f"{ROOT}.item[{len(sent['item']) - 1}]")]
    sent = response()
    place, group = findings(sent)[0]
    group["item"].append(copy.deepcopy(group["item"][1]))
    assert refused(sent) == [("response-several", f"{place}.item[{len(group['item']) - 1}]")]


def _coded(group, end, concept):
    return {
        "linkId": f"{group['linkId']}.{end}",
        "answer": [{"valueCoding": {"system": OWN, "code": concept}}],
    }


def test_an_answer_that_does_not_belong_to_the_motion_is_refused():
    sent = response()
    place, group = next(
        (place, one)
        for place, one in findings(sent)
        if one["linkId"] == "shoulder.motion.finding"
        and not any(q["linkId"].endswith("arm-position") for q in one["item"])
    )
    group["item"].append(_coded(group, "arm-position", "arm-position-at-side"))
    assert refused(sent) == [
        ("response-not-asked", f"{place}.item[{len(group['item']) - 1}].answer[0]")
    ]


def test_a_reason_behind_the_reason_needs_the_reason():
    sent = response()
    place, group = findings(sent)[0]
    group["item"].append(_coded(group, "because", "limited-by-pain"))
    assert refused(sent) == [
        ("response-not-asked", f"{place}.item[{len(group['item']) - 1}].answer[0]")
    ]


def test_two_ends_of_one_extension_contradict_each_other():
    sent = response("elbow-after-fracture")
    place, group = next(
        (place, one)
        for place, one in findings(sent)
        if any(q["linkId"].endswith(".short-of-straight") for q in one["item"])
    )
    straight = {"linkId": f"{group['linkId']}.straight", "answer": [{"valueBoolean": True}]}
    group["item"].append(straight)
    at_end = f"{place}.item[{len(group['item']) - 1}].answer[0]"
    assert refused(sent) == [("response-contradiction", at_end)]
    straight["answer"][0]["valueBoolean"] = False
    assert refused(sent) == [("response-option", at_end)]


def test_exm_06_every_problem_is_told_at_once_with_its_place():
    sent = response()
    sent["status"] = "stopped"
    sent["contained"] = []
    del sent["author"]
    first, _ = findings(sent)[0]
    at(sent, first)["item"][0]["linkId"] = "nonsense"
    last, node = question(sent, ".angle", -1)
    node["answer"][0]["valueQuantity"]["code"] = "rad"
    node["answer"][0]["valueQuantity"]["unit"] = "deg"
    expected = {
        ("response-status", f"{ROOT}.status"),
        ("response-unknown-member", f"{ROOT}.contained"),
        ("response-missing", f"{ROOT}.author"),
        ("response-unknown-item", f"{first}.item[0]"),
        ("response-option", f"{last}.answer[0]"),
    }
    assert set(refused(sent)) == expected


def test_exm_06_the_rules_look_at_what_could_be_read_of_a_refused_response():
    sent = response()
    first, group = findings(sent)[0]
    group["item"][0]["linkId"] = "nonsense"
    del sent["author"]
    place, node = question(sent, ".angle")
    node["answer"][0]["valueQuantity"]["value"] = Decimal(400)
    birth, born = question(sent, ".birth-date")
    born["answer"][0]["valueDate"] = "1969-02-30"
    found = read(sent)
    told = {(one.code, one.expression) for one in everything_wrong(found, tables(), ModelOptions())}
    assert {
        ("response-unknown-item", f"{first}.item[0]"),
        ("response-missing", f"{ROOT}.author"),
        ("limit-refused", f"{place}.answer[0].value.value"),
        ("birth-date-unreal", f"{birth}.answer[0]"),
    } <= told
    assert not any(code.startswith("shape-") for code, _ in told)


def test_problems_of_the_rules_name_places_in_the_response():
    sent = response("ulnar-weakness")
    trials, node = question(sent, ".trials")
    node["answer"][1]["valueQuantity"]["value"] = Decimal(900)
    key, one = question(sent, ".key", 3)
    one["answer"][0]["valueString"] = question(sent, ".key")[1]["answer"][0]["valueString"]
    side, two = question(sent, ".key", 5)
    two["answer"][0]["valueString"] = "no spaces please"
    found = read(sent)
    assert found.exam is not None
    problems = examine(found.content(), tables(), ModelOptions()).problems
    places = {one.expression for one in found.placed(problems) if one.severity is Severity.ERROR}
    assert {f"{trials}.answer[1].value.value", f"{key}.answer[0]", f"{side}.answer[0]"} <= places
    for one in places:
        at(sent, one.removesuffix(".value.value"))


@pytest.mark.parametrize("written_as", ["1e2", "NaN", "Infinity", "-Infinity"])
def test_numbers_that_hide_digits_are_refused_by_the_rules_or_here(written_as):
    sent = response()
    place, node = question(sent, ".angle")
    amount = jiter.from_json(written_as.encode(), float_mode="lossless-float")
    node["answer"][0]["valueQuantity"]["value"] = amount
    found = read(sent)
    problems = everything_wrong(found, tables(), ModelOptions())
    assert f"{place}.answer[0]" in {one.expression.removesuffix(".value.value") for one in problems}


def test_patient_data_is_in_no_problem():
    sent = response()
    secrets = ("Jane Nobody", "1969-13-77", "P-SECRET")
    sent["subject"] = {"identifier": {"system": "x", "value": "P-SECRET", "use": secrets[0]}}
    question(sent, ".birth-date")[1]["answer"][0]["valueDate"] = secrets[1]
    question(sent, ".sex")[1]["answer"][0]["valueCoding"]["code"] = secrets[0]
    sent[secrets[0]] = secrets[0]
    told = str(everything_wrong(read(sent), tables(), ModelOptions()))
    assert "response-option" in told
    assert not any(secret in told for secret in secrets)


def test_every_code_is_listed_once_and_has_a_reason_and_a_way_out():
    codes = [row.code for row in LISTED]
    assert len(codes) == len(set(codes))
    assert all(row.reason and row.remedy and row.source for row in LISTED)


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_nothing_breaks_the_reading(data):
    junk = st.sampled_from(
        [None, [], {}, "", "x", 0, True, [None], [[]], {"a": {}}, Decimal("1.5")]
    )
    sent = response(data.draw(st.sampled_from(SAMPLES)))
    _place, node = data.draw(st.sampled_from([*nodes(sent), (ROOT, sent)]))
    holder = node
    while True:
        name = data.draw(st.sampled_from(sorted(holder))) if isinstance(holder, dict) else 0
        deeper = holder[name]
        if isinstance(deeper, dict | list) and deeper and data.draw(st.booleans()):
            holder = deeper
            continue
        holder[name] = data.draw(junk)
        break
    found = read(sent)
    for one in everything_wrong(found, tables(), ModelOptions()):
        assert one.expression.startswith(ROOT)
    if found.exam is not None:
        examine(found.content(), tables(), ModelOptions())
