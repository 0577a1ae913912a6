"""Bodies and queries that nobody sane sends: never a failure, always a documented answer."""

from __future__ import annotations

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.api.serving import Serving, example

SANE = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
ANYTHING = st.recursive(
    SANE,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)
MANY = settings(
    max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("fuzz") / "fuzz.sqlite3") as service:
        yield service


def places(value, path=()):
    """Every place in a JSON value."""
    yield path
    parts = dict(enumerate(value)) if isinstance(value, list) else value
    for name, part in parts.items() if isinstance(parts, dict) else ():
        yield from places(part, (*path, name))


BASE_EXAM = example("hyperextending-elbow")
PLACES = list(places(BASE_EXAM))


@MANY
@given(place=st.sampled_from(PLACES), value=ANYTHING)
def test_exm_17_no_body_makes_the_service_fail(fuzzed, place, value):
    exam = json.loads(json.dumps(BASE_EXAM))
    if place:
        inner = exam
        for name in place[:-1]:
            inner = inner[name]
        inner[place[-1]] = value
    else:
        exam = value
    answer = fuzzed.post("/exams", exam)
    assert answer.status_code in (200, 201, 400, 409, 422), answer.text
    if answer.status_code >= 400:
        assert answer.json()["problems"]


@MANY
@given(raw=st.binary(max_size=60))
def test_exm_17_no_bytes_make_the_service_fail(fuzzed, raw):
    assert fuzzed.post("/exams", raw).status_code in (400, 422)


QUERY = st.dictionaries(
    st.sampled_from(
        ["_id", "identifier", "patient", "target", "url", "_count", "_after", "x", "_format"]
    )
    | st.text(max_size=10),
    st.text(max_size=20),
    max_size=4,
)


@MANY
@given(kind=st.sampled_from(["Observation", "Provenance", "CodeSystem", "ConceptMap"]), query=QUERY)
def test_exm_17_no_query_makes_the_service_fail(fuzzed, kind, query):
    answer = fuzzed.ask("GET", f"/fhir/{kind}", params=query)
    assert answer.status_code in (200, 400, 406)
    assert answer.json()["resourceType"] in ("Bundle", "OperationOutcome")
