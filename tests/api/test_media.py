"""Content negotiation without a server: every Accept that clients really send."""

from __future__ import annotations

import pytest

from brachium.api.media import (
    CSV,
    FHIR_JSON,
    FHIR_SPELLINGS,
    JSON,
    choose,
    is_json_body,
    prefers_outcome,
    serves_fhir,
)

BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"


@pytest.mark.parametrize(
    "accept",
    [
        None,
        "",
        "*/*",
        "application/*",
        "application/json",
        "text/json",
        "application/fhir+json",
        "application/fhir+json;charset=UTF-8",
        "application/fhir+json; fhirVersion=4.0",
        "application/json;q=0.2, text/plain",
        BROWSER,
        "Application/FHIR+JSON",
    ],
)
def test_neg_02_every_json_spelling_is_served(accept):
    assert serves_fhir(accept, None)


@pytest.mark.parametrize(
    "accept",
    [
        "application/fhir+xml",
        "text/turtle",
        "application/json;q=0",
        "application/fhir+json;fhirVersion=5.0",
        "nonsense",
        "application/xml, text/plain;q=0.3",
    ],
)
def test_neg_03_cap_11_other_formats_are_not(accept):
    assert not serves_fhir(accept, None)


@pytest.mark.parametrize(
    ("word", "served"),
    [
        ("json", True),
        ("application/fhir+json", True),
        ("application/fhir json", True),
        ("text/json", True),
        ("xml", False),
        ("ttl", False),
        ("application/fhir+xml", False),
    ],
)
def test_neg_05_format_overrides_accept(word, served):
    assert serves_fhir("application/fhir+xml", word) is served
    assert serves_fhir("application/json", word) is served


def test_the_most_exact_range_decides():
    offers = (JSON, CSV)
    assert choose("text/csv, */*;q=0.1", offers) == CSV
    assert choose("*/*, application/json;q=0", offers) == CSV
    assert choose("text/*;q=0.5, application/json;q=0.4", offers) == CSV
    assert choose("image/png", offers) is None
    assert choose("*/*", offers) == JSON
    assert choose("text/csv;q=broken, application/json", offers) == JSON


@pytest.mark.parametrize(
    ("accept", "outcome"),
    [
        ("application/fhir+json", True),
        ("application/fhir+json, application/json;q=0.9", True),
        ("application/fhir+json, */*", True),
        ("application/json, application/fhir+json;q=0.9", False),
        ("application/json", False),
        ("*/*", False),
        (None, False),
    ],
)
def test_exm_04_outcome_goes_to_who_prefers_fhir(accept, outcome):
    assert prefers_outcome(accept) is outcome


@pytest.mark.parametrize(
    ("content_type", "fit"),
    [
        ("application/json", True),
        ("application/json; charset=utf-8", True),
        ('application/json;charset="UTF-8"', True),
        ("application/json; charset=latin-1", False),
        ("text/plain", False),
        ("application/x-www-form-urlencoded", False),
        ("", False),
    ],
)
def test_only_json_in_utf_8_is_read(content_type, fit):
    assert is_json_body(content_type) is fit


def test_fhir_json_is_what_goes_out_when_nothing_is_said():
    assert choose(None, FHIR_SPELLINGS) == FHIR_JSON
