"""No search, however strange, makes the service fail; whatever is refused says why."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.api.serving import Serving, raw_example

from brachium.api.search_results import RESULTS
from brachium.api.served import SERVED

NAMES = sorted({one.name for kind in SERVED.values() for one in kind.parameters} | {*RESULTS})
MORE = ["_page", "_format", "_pretty", "_has", "_since", "_at", "_type", "max", "x", ""]
MODIFIERS = ["", ":missing", ":not", ":exact", ":identifier", ":Patient", ".identifier", ":", "."]
PIECES = [
    *("2026", "-03", "-02", "T10:15", "Z", "+01:00", "ge", "ap", "eq", "|", ",", "\\", "$", "160"),
    *(
        ".5",
        "e3",
        "-",
        "deg",
        "Patient/",
        "Observation:",
        "subject",
        "true",
        "http://loinc.org",
        "a",
    ),
    *("9999", "0001", "\x00", "\u00e9", "%", "&", "/_history/1", "final", "Provenance:target"),
]
values = st.lists(st.sampled_from(PIECES), max_size=5).map("".join) | st.text(max_size=12)
names = st.tuples(st.sampled_from(NAMES + MORE), st.sampled_from(MODIFIERS)).map("".join)
pairs = st.lists(st.tuples(names, values), max_size=5)


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("fuzz") / "exams.sqlite3") as serving:
        serving.post("/exams", raw_example("draft"))
        yield serving


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(kind=st.sampled_from(sorted(SERVED)), asked=pairs, how=st.integers(0, 3))
def test_err_01_no_search_makes_it_fail(service, kind, asked, how):
    path = {
        0: f"/fhir/{kind}",
        1: f"/fhir/{kind}/_history",
        2: "/fhir/Observation/$lastn",
        3: f"/fhir/Patient/x/{kind}",
    }[how]
    answer = service.ask("GET", path, params=asked)
    assert answer.status_code in (200, 400, 404, 406, 410), (path, asked)
    body = answer.json()
    if answer.status_code == 200:
        assert body["resourceType"] == "Bundle"
        assert all(len(link["url"]) < 2000 for link in body["link"])
    else:
        assert body["resourceType"] == "OperationOutcome"
        assert any(one["severity"] == "error" for one in body["issue"])


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(kind=st.sampled_from(sorted(SERVED)), form=st.binary(max_size=60))
def test_err_01_no_form_makes_it_fail(service, kind, form):
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    answer = service.ask("POST", f"/fhir/{kind}/_search", content=form, headers=headers)
    assert answer.status_code in (200, 400, 406, 410)
