"""The Questionnaire: valid by every oracle, complete, and made of the rows alone."""

from __future__ import annotations

import orjson
import pytest
from tests.coding.coded import CANONICAL, tables
from tests.coding.responses import questionnaire
from tests.oracles import invariants, structure_401, structure_r4b
from tests.tables.test_overlay import NEW_JOINT, overlay

from brachium.coding.questionnaire import questionnaire_text
from brachium.tables.load import load

# the engine of the invariants cannot cast to canonical, and so finds no answerValueSet
NOT_SEEN = "dom-3"


def every(item):
    yield item
    for one in item.get("item", ()):
        yield from every(one)


def items():
    return [one for item in questionnaire()["item"] for one in every(item)]


def test_it_is_valid_by_both_sets_of_models():
    assert structure_401.complaints(questionnaire()) == []
    assert structure_r4b.complaints(questionnaire()) == []


@pytest.mark.usefixtures("fhir_definitions")
def test_it_keeps_the_invariants_of_hl7(capsys):
    found = invariants.complaints(questionnaire())
    capsys.readouterr()  # two invariants trace what they see
    assert [str(one) for one in found if NOT_SEEN not in one.message] == []


def test_dom_3_every_contained_list_is_used_and_every_list_used_is_contained():
    used = {item["answerValueSet"] for item in items() if "answerValueSet" in item}
    assert used == {f"#{one['id']}" for one in questionnaire()["contained"]}


def test_que_2_link_ids_are_unique_and_made_of_words():
    links = [item["linkId"] for item in items()]
    assert len(links) == len(set(links))
    assert all(link.replace(".", "").replace("-", "").isalnum() for link in links)


def test_it_is_of_a_manageable_size_and_the_same_every_time():
    text = questionnaire_text(tables(), CANONICAL)
    assert 100_000 < len(text) < 350_000  # as the README says
    assert text == questionnaire_text(tables(), CANONICAL)


def test_every_word_of_the_catalogue_is_offered():
    offered = {
        (one["system"], one["code"])
        for item in items()
        for one in (option["valueCoding"] for option in item.get("answerOption", ()))
    } | {
        (part["system"], concept["code"])
        for one in questionnaire()["contained"]
        for part in one["compose"]["include"]
        for concept in part["concept"]
    }
    own = {code for system, code in offered if system == f"{CANONICAL}/CodeSystem/arm-exam"}
    kinds = {"motion", "strength", "sign", "position", "arm-position", "limiter"}
    wanted = {code for code, row in tables().concepts.items() if row.kind in kinds}
    wanted |= {f"method-{m.method}" for m in tables().methods.values() if set(m.kinds) & kinds}
    assert wanted <= own
    scales = {row.scale for row in (*tables().motions.values(), *tables().strength.values())}
    grades = {
        (f"{CANONICAL}/CodeSystem/{scale}", grade)
        for scale in scales - {""}
        for grade in tables().scales[scale]
    }
    assert grades <= offered


def test_concepts_of_items_are_ours():
    codes = {one["code"] for item in items() for one in item.get("code", ())}
    assert codes
    assert codes <= set(tables().concepts)


def test_what_a_site_does_not_take_is_not_offered():
    plain = questionnaire(plus_minus_grades=False)
    grades = next(one for one in plain["contained"] if one["id"] == "mrc-grade")
    codes = [concept["code"] for concept in grades["compose"]["include"][0]["concept"]]
    assert codes == ["0", "1", "2", "3", "4", "5"]
    assert "rad" not in orjson.dumps(questionnaire(), default=str).decode().split('"')
    assert "rad" in orjson.dumps(questionnaire(convert_units=True), default=str).decode().split('"')


def test_severity_is_asked_of_rated_signs_and_the_arm_position_of_those_motions():
    asked = {item["linkId"]: item.get("enableWhen", ()) for item in items()}
    for link, conditions in asked.items():
        codes = {one["answerCoding"]["code"] for one in conditions}
        joint, _, name = link.partition(".")
        if name in ("inspection.finding.severity", "palpation.finding.severity"):
            part = name.partition(".")[0]
            rated = {f"{part}-{s.sign}" for s in tables().signs.values() if s.rated}
            assert codes <= rated
            assert codes
        if name == "motion.finding.arm-position":
            rows = [m for m in tables().motions.values() if m.joint == joint and m.arm_positions]
            assert codes == {f"{joint}-{m.motion}-rom-{mode}" for m in rows for mode in m.modes}


def test_sites_of_a_joint_with_digits_are_offered_for_each_digit(tmp_path):
    rows = dict(NEW_JOINT)
    rows["model/joints.csv"] = ["tail,Tail,tails,tail,index ring,tail,900,OWN_PROPOSAL"]
    rows["model/sites.csv"] = [
        row.replace("tail,,", "tail,index ring,") for row in NEW_JOINT["model/sites.csv"]
    ]
    more = load(overlay=overlay(tmp_path, rows))
    tail = orjson.loads(questionnaire_text(more, CANONICAL))["item"][-1]
    (site,) = (one for one in every(tail) if one["linkId"] == "tail.palpation.finding.site")
    codes = [one["valueCoding"]["code"] for one in site["answerOption"]]
    assert codes == ["site-tail-tip-index", "site-tail-tip-ring"]


def test_a_new_joint_is_rows_alone(tmp_path):
    more = load(overlay=overlay(tmp_path, NEW_JOINT))
    found = orjson.loads(questionnaire_text(more, CANONICAL))
    tail = found["item"][-1]
    assert (tail["linkId"], tail["text"]) == ("tail", "Tail")
    assert [one["linkId"] for one in tail["item"]] == [
        "tail.inspection",
        "tail.motion",
        "tail.palpation",
        "tail.strength",
    ]
    assert structure_401.complaints(found) == []
