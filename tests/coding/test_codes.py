"""Codes: only those of the tables, none guessed, none hidden, SNOMED CT and unverified off."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from tests.coding.coded import LOINC, OWN, SNOMED, code, code_exam, code_of, tables
from tests.exam.builders import end, move

from brachium.coding.sample import sample
from brachium.problems import Severity


def codings(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        for name, member in value.items():
            if name == "coding":
                yield from member
            yield from codings(member)
    elif isinstance(value, list):
        for member in value:
            yield from codings(member)


def test_trm_02_every_coding_of_every_concept_is_in_the_tables_with_its_display():
    known = tables()
    rows = {(known.systems[r.system].uri, r.code): r for r in known.codes.values()}
    scales = {f"{OWN.rsplit('/', 1)[0]}/{name}": grades for name, grades in known.scales.items()}
    seen = set()
    for coding in codings(code_exam(sample(known)).resources):
        system, value = coding["system"], coding["code"]
        seen.add(system)
        if system == OWN:
            assert coding["display"] == known.concepts[value].display
        elif system in scales:
            assert coding["display"] == scales[system][value].label
        else:
            assert coding.get("display") == rows[system, value].display
            assert rows[system, value].status == "active"
    assert {LOINC, SNOMED, OWN} <= seen


def test_trm_04_a_concept_without_a_standard_code_goes_out_and_is_named():
    known = tables()
    concept = "shoulder-abduction-rom-active"
    some = replace(known, maps={k: v for k, v in known.maps.items() if k != concept})
    coded = code(move(150), move(140, side="left"), some=some)
    found = coded.leaf("f0")["code"]
    assert [c["code"] for c in found["coding"]] == [concept]
    assert found["text"]
    named = [p for p in coded.problems if p.code == "unmapped-concept" and concept in p.message]
    assert [(p.severity, p.pointer) for p in named] == [(Severity.INFORMATION, "/findings/0")]


def test_trm_04_unverified_codes_are_named_once_each_or_withheld():
    coded = code(move(150), move(150, mode="passive", side="right"), move(140, key="again"))
    named = [p.message for p in coded.problems if p.code == "unverified-code"]
    assert named
    assert len(named) == len(set(named))
    withheld = code(move(150), unverified=False)
    unverified = {r.code for r in tables().codes.values() if not r.verified}
    assert not {c["code"] for c in codings(withheld.resources)} & unverified
    assert not [p for p in withheld.problems if p.code == "unverified-code"]


def test_trm_05_without_snomed_no_snomed_coding_goes_out_and_the_side_stays_computable():
    coded = code_exam(sample(tables()), snomed=False)
    assert SNOMED not in {c["system"] for c in codings(coded.resources)}
    for observation in coded.of("Observation"):
        laterality = observation["bodySite"]["extension"][0]["valueCodeableConcept"]
        assert code_of(laterality, OWN)[0].startswith("side-")


def test_trm_03_a_deprecated_code_never_goes_out():
    known = tables()
    (target,) = [
        row
        for row in known.maps["shoulder-abduction-rom-active"]
        if row.side == "right" and row.system == "loinc"
    ]
    codes = dict(known.codes)
    codes["loinc", target.code] = replace(codes["loinc", target.code], status="deprecated")
    coded = code(move(150), some=replace(known, codes=codes))
    assert target.code not in code_of(coded.leaf("f0")["code"], LOINC)


def test_a_map_to_something_narrower_does_not_go_out():
    known = tables()
    concept = "shoulder-abduction-rom-active"
    rows = tuple(replace(row, relationship="narrower") for row in known.maps[concept])
    coded = code(move(150), some=replace(known, maps={**known.maps, concept: rows}))
    assert [c["system"] for c in coded.leaf("f0")["code"]["coding"]] == [OWN]


@pytest.mark.parametrize("finding", [move(150), end("short-of-straight", 20)])
def test_an_unknown_word_is_an_error_and_not_a_guess(finding):
    known = tables()
    some = replace(known, concepts={})
    with pytest.raises(KeyError):
        code(finding, some=some)
