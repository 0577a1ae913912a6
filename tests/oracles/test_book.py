"""The tables that the service ships, held against HL7's definitions and against themselves."""

from __future__ import annotations

import pytest
from tests.oracles import bindings
from tests.oracles.book import LOINC, SNOMED, Book
from tests.oracles.judge import default_book
from tests.oracles.reading import side_in_words

pytestmark = pytest.mark.usefixtures("fhir_definitions")


@pytest.fixture(scope="module")
def book() -> Book:
    return default_book()


def test_trm_02_hl7_codes_of_the_tables_read_as_hl7_words_them(book: Book) -> None:
    checked = 0
    for (system, code), display in book.displays.items():
        known = bindings.concepts(system)
        if known:
            assert display in known.get(code, ()), f"{system}|{code}"
            checked += 1
    assert checked


@pytest.mark.parametrize("system", [LOINC, SNOMED])
def test_obs_05_sides_in_the_tables_are_those_in_the_names(book: Book, system: str) -> None:
    stated = {key: side for key, side in book.sides.items() if key[0] == system}
    named = {key: side_in_words(book.displays.get(key, "")) for key in stated}
    wrong = {
        key: (side, named[key]) for key, side in stated.items() if named[key] not in {"", side}
    }
    assert wrong == {}
    assert {"left", "right"} <= set(named.values())


def test_obs_13_every_grade_has_an_ordinal_and_words(book: Book) -> None:
    assert book.grades
    assert all(book.displays[key] for key in book.grades)
