"""Whole searches as they are understood, without a server (matrix SRC-09..11, SRC-15)."""

from __future__ import annotations

import pytest

from brachium.api.faults import BadSearch
from brachium.api.search_query import MOST
from brachium.api.search_reading import understood
from brachium.api.served import SERVED
from brachium.store.criteria import Criterion, Is, Order, Present

BASE = "https://exams.example.org/arm/fhir"


def read(*pairs: tuple[str, str], kind: str = "Observation", strict: bool = False):
    return understood(SERVED[kind], pairs, BASE, strict=strict)


def refused(*pairs: tuple[str, str], kind: str = "Observation", strict: bool = False):
    with pytest.raises(BadSearch) as caught:
        read(*pairs, kind=kind, strict=strict)
    return [(one.code, one.issue_type, one.expression) for one in caught.value.problems]


def test_repeated_parameters_are_criteria_of_their_own():
    found = read(("date", "ge2026"), ("date", "lt2027"), ("combo-code", "x"))
    assert [one.parameters for one in found.criteria] == [
        ("date",),
        ("date",),
        ("code", "component-code"),
    ]
    assert found.honoured == [("date", "ge2026"), ("date", "lt2027"), ("combo-code", "x")]


def test_src_10_modifiers_are_done_or_refused():
    found = read(("code:not", "x"), ("method:missing", "true"), ("subject:Patient", "1"))
    assert [one.negated for one in found.criteria] == [True, False, False]
    assert found.criteria[1].matches == (Present(present=False),)
    assert found.criteria[2] == Criterion(("subject",), (Is("Patient/1"),))
    for name in (
        *("code:in", "code:text", "date:not", "_id:not", "identifier:of-type", "code:"),
        *("subject:Group", "patient.name", "patient:Group.identifier", "code.x", "patient."),
        *("_include:iterate", "_count:exact", "_lastUpdated:missing"),
    ):
        (problem,) = refused((name, "1"))
        assert problem[:2] == ("modifier-not-supported", "not-supported"), name
        assert problem[2] in (f"http.{name.partition(':')[0]}", f"http.{name}")
    assert refused(("code:missing", "yes")) == [("bad-search-value", "value", "http.code")]


def test_an_encounter_is_found_by_its_identifier_alone():
    (found,) = read(("encounter:identifier", "s|v")).criteria
    assert found == Criterion(("encounter:identifier",), (Is("s|v"),))
    assert refused(("encounter", "1")) == [("bad-search-value", "value", "http.encounter")]


def test_a_chain_is_a_search_of_its_own():
    (chained,) = read(("patient.identifier", r"s|a\,b")).chained
    assert chained.parameters == ("patient",)
    (search,) = chained.searches
    assert (search.type, search.criteria) == (
        "Patient",
        (Criterion(("identifier",), (Is("s|a,b"),)),),
    )
    (both,) = read(("performer.identifier", "s|v")).chained
    assert [one.type for one in both.searches] == ["Practitioner", "Organization"]


def test_src_09_an_unknown_name_is_told_and_refused_when_strict():
    found = read(("patinet", "1"), ("_format", "json"), ("_pretty", "true"), ("patient", "1"))
    assert [(one.code, one.expression) for one in found.warnings] == [
        ("parameter-ignored", "http.patinet")
    ]
    assert found.honoured == [("patient", "1")]
    assert refused(("patinet", "1"), strict=True) == [
        ("parameter-unknown", "not-supported", "http.patinet")
    ]
    assert read(("patient", "1"), ("_format", "json"), strict=True).warnings == []


def test_every_problem_is_told_at_once():
    found = refused(
        ("code:in", "x"), ("date", "23 May"), ("_count", "few"), ("nothing", "1"), strict=True
    )
    assert [one[2] for one in found] == ["http.code", "http.date", "http._count", "http.nothing"]


def test_no_value_of_a_request_is_in_a_problem():
    pairs = [(name, "Quartermaine ") for name in ("date", "_id", "patient", "value-quantity")]
    with pytest.raises(BadSearch) as caught:
        read(*pairs, ("Quarter maine", "1"), strict=True)
    assert len(caught.value.problems) == 5
    assert "Quarter" not in str(caught.value.problems)


def test_src_15_what_cannot_be_sorted_by_is_told_or_refused():
    found = read(("_sort", "-date,foo,_lastUpdated"))
    assert found.order == [Order("date", descending=True), Order("_lastUpdated")]
    assert found.honoured == [("_sort", "-date,_lastUpdated")]
    assert [one.expression for one in found.warnings] == ["http._sort"]
    assert refused(("_sort", "foo"), strict=True)[0][2] == "http._sort"
    assert read(("_sort", "status")).order == []
    assert read(("_sort", "_id"), kind="CodeSystem").order == []


def test_src_12_count_is_a_ceiling():
    assert read(("_count", "7")).count == 7
    assert read(("_count", "999999")).count == MOST
    for value in ("-1", "", "7.5", "1234567", "٣"):
        assert refused(("_count", value)) == [("bad-search-value", "value", "http._count")]


@pytest.mark.parametrize(
    "pairs",
    [
        [("_count", "1"), ("_count", "2")],
        [("_summary", "yes")],
        [("_total", "some")],
        [("_elements", "a b")],
        [("_elements", "")],
        [("_include", "Observation:focus")],
        [("_include", "*")],
        [("_include", "Observation:subject:Group")],
        [("_include", "DiagnosticReport:result")],
        [("_revinclude", "Observation:subject")],
        [("_revinclude", "Provenance:target:Patient")],
        [("_summary", "text"), ("_include", "Observation:subject")],
    ],
)
def test_result_parameters_with_other_values_are_refused(pairs):
    assert refused(*pairs)[0][:2] == ("bad-search-value", "value")


def test_includes_are_what_the_rows_name():
    assert set(SERVED["Observation"].includes) == {
        f"Observation:{name}"
        for name in ("patient", "subject", "performer", "derived-from", "has-member")
    }
    found = read(
        ("_include", "Observation:performer:Organization"), ("_revinclude", "Provenance:target")
    )
    assert found.includes == [("performer", "Organization")]
    assert found.back == [("Provenance", "target")]


def test_src_18_elements_of_other_types_are_left_out():
    found = read(("_elements", "code,Observation.status,Patient.name"))
    assert found.elements == ("code", "status")


def test_every_row_can_be_read_and_is_named_once():
    for kind, one in SERVED.items():
        names = [parameter.name for parameter in one.parameters]
        assert len(names) == len(set(names)), kind
        for parameter in one.parameters:
            assert parameter.words.endswith("."), parameter
            assert (parameter.type == "reference") == bool(parameter.targets), parameter
            assert bool(parameter.expression) == parameter.name.startswith("-"), parameter
            assert one.versioned or parameter.path or parameter.name == "_id", parameter
            for target in parameter.targets if parameter.chains else ():
                for chain in parameter.chains:
                    assert SERVED[target].parameter(chain), (parameter, target)
