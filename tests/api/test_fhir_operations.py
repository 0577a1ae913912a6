"""Operations that read (matrix SRC-23, BND-02, BND-07)."""

from __future__ import annotations

import pytest
from tests.api.searched import ids, issues, links, matches, searched, walked
from tests.api.serving import Serving, example, inside, raw_example

VISITS = ("recovering-shoulder-1", "recovering-shoulder-2", "recovering-shoulder-3")


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("visits") / "exams.sqlite3") as serving:
        yield serving


@pytest.fixture(scope="module")
def visits(service):
    """The receipts of three visits of one patient, and an exam of somebody else."""
    assert service.post("/exams", raw_example("child")).status_code == 201
    return [service.post("/exams", raw_example(name)).json() for name in VISITS]


@pytest.fixture(scope="module")
def patient(service, visits):
    report = service.get(inside(visits[0]["links"]["report"])).json()
    return report["subject"]["reference"]


def record(service, visits):
    """Type and id of everything in the bundles of the visits, with the newest version of each."""
    found = {}
    for one in visits:
        for entry in service.get(f"/exams/{one['id']}/bundle").json()["entry"]:
            found[entry["fullUrl"]] = entry["resource"]
    return {(one["resourceType"], one["id"]) for one in found.values()}


def named(bundle):
    return [(one["resourceType"], one["id"]) for one in matches(bundle)]


def test_src_23_everything_about_a_patient(service, visits, patient):
    whole = searched(service, f"{patient}/$everything")
    assert set(named(whole)) == record(service, visits)
    assert len(named(whole)) == whole["total"]
    assert named(whole)[0] == tuple(patient.split("/"))
    pages = list(walked(service, searched(service, f"{patient}/$everything?_count=13")))
    seen = [one for page in pages for one in named(page)]
    assert {len(named(page)) for page in pages[:-1]} == {13}
    assert len(seen) == len(set(seen))
    assert set(seen) == set(named(whole))
    assert {page["total"] for page in pages} == {whole["total"]}


@pytest.mark.parametrize("count", [1, 2, 3, 200])
def test_src_23_everything_in_pages_of_any_size(service, visits, patient, count):
    assert visits
    query = f"{patient}/$everything?_type=DiagnosticReport,Provenance,Organization,Practitioner"
    pages = list(walked(service, searched(service, f"{query}&_count={count}")))
    seen = [one for page in pages for one in named(page)]
    assert len(seen) == len(set(seen)) == pages[0]["total"] == 8
    assert len(pages) == -(-8 // count)


def test_src_23_everything_of_a_type_or_since_a_time(service, visits, patient):
    kinds = "DiagnosticReport,Practitioner"
    found = searched(service, f"{patient}/$everything?_type={kinds}")
    assert {one[0] for one in named(found)} == set(kinds.split(","))
    later = visits[2]["recorded"].replace("+", "%2B")
    since = searched(service, f"{patient}/$everything?_since={later}&_type=DiagnosticReport")
    assert ids(since) == [inside(visits[2]["links"]["report"]).rpartition("/")[2]]
    assert searched(service, f"{patient}/$everything?_since=2100")["total"] == 0


def test_everything_of_nobody_and_with_unknown_parameters(service, visits, patient):
    assert visits
    missing = service.get("/fhir/Patient/nobody/$everything")
    assert (missing.status_code, issues(missing)[0]["code"]) == (404, "not-found")
    answer = service.get(f"/fhir/{patient}/$everything?_type=Nothing&start=2026&_count=0")
    assert answer.status_code == 400
    told = [(one["code"], one["expression"]) for one in issues(answer)]
    assert told == [
        ("value", ["http._type"]),
        ("not-supported", ["http.start"]),
        ("value", ["http._count"]),
    ]


def test_src_23_the_latest_findings_of_each_code_and_side(service, visits, patient):
    assert visits
    query = f"Observation/$lastn?patient={patient}&category=exam"
    times = sorted(
        {one["effectiveDateTime"] for one in matches(searched(service, f"{query}&max=9"))}
    )
    assert len(times) == len(VISITS)
    newest = matches(searched(service, query))
    newest_exam = [one for one in newest if one["effectiveDateTime"] == times[-1]]
    whole = {
        one["id"]
        for one in matches(searched(service, f"Observation?patient={patient}&_count=500"))
        if one["effectiveDateTime"] == times[-1]
    }
    assert {one["id"] for one in newest_exam} == whole
    two = matches(searched(service, f"{query}&max=2"))
    panel = {one["effectiveDateTime"] for one in two if "hasMember" in one}
    assert panel == set(times[-2:])
    assert "max=2" in links(searched(service, f"{query}&max=2"))["self"]


@pytest.mark.parametrize(
    "query", ["category=exam", "patient=1&max=x", "patient=1&max=1&max=2", "patient=1&_count=2"]
)
def test_src_23_lastn_needs_a_patient_and_a_number(service, query):
    assert service.get(f"/fhir/Observation/$lastn?{query}").status_code == 400


def test_bnd_02_bnd_07_an_exam_as_a_document_by_three_ways(service, visits):
    exam = visits[0]
    document = service.get(f"/exams/{exam['id']}/bundle?type=document")
    report = inside(exam["links"]["report"])
    for path in (f"/fhir/Composition/{exam['id']}/$document", f"{report}/$document"):
        answer = service.get(path)
        assert answer.status_code == 200
        assert answer.content == document.content
        assert answer.headers["content-digest"] == document.headers["content-digest"]
    found = document.json()
    assert found["type"] == "document"
    first = found["entry"][0]["resource"]
    assert (first["resourceType"], first["id"]) == ("Composition", exam["id"])
    assert all(section["text"]["div"] for section in first["section"])


def test_bnd_07_no_document_of_what_is_not_there(service, visits):
    for path in ("Composition/nope", "DiagnosticReport/nope"):
        answer = service.get(f"/fhir/{path}/$document")
        assert (answer.status_code, issues(answer)[0]["code"]) == (404, "not-found")
    path = f"/fhir/Composition/{visits[0]['id']}/$document"
    assert service.get(f"{path}?persist=false").status_code == 200
    assert service.get(f"{path}?persist=true").status_code == 400
    assert example("child")["identifier"]["value"] not in service.get(path).text
