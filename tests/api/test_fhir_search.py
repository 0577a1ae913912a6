"""Searches over HTTP on the examples of the clinic (matrix SRC, BND-03, BND-04, NEG)."""

from __future__ import annotations

import json
from itertools import chain
from urllib.parse import quote

import pytest
from tests.api.searched import ids, issues, links, matches, posted, searched, walked
from tests.api.serving import BASE, ROOT, Serving, example, inside, raw_example
from tests.api.test_changes import REASON

SNOMED, LOINC = "http://snomed.info/sct", "http://loinc.org"
EXAMS = ("stiff-shoulder", "elbow-after-fracture", "parts-not-tested", "recovering-shoulder-1")
PEOPLE = "https://saltmarsh.example.org/fid/patient"


@pytest.fixture(scope="module")
def clinic(tmp_path_factory):
    """A service with four exams of four people that nobody changes."""
    with Serving(tmp_path_factory.mktemp("clinic") / "exams.sqlite3") as serving:
        for name in EXAMS:
            assert serving.post("/exams", raw_example(name)).status_code == 201
        yield serving


@pytest.fixture(scope="module")
def patient(clinic):
    """The id of the patient with the stiff shoulder."""
    by = quote(f"{PEOPLE}|{example('stiff-shoulder')['patient']['identifier']['value']}")
    (found,) = ids(searched(clinic, f"Patient?identifier={by}"))
    return found


@pytest.fixture(scope="module")
def own(clinic, patient):
    """Every Observation of that patient."""
    return matches(searched(clinic, f"Observation?patient={patient}&_count=500"))


def chosen(own, keeps):
    found = {one["id"] for one in own if keeps(one)}
    assert 0 < len(found) < len(own)
    return found


def codes(element):
    return {f"{one.get('system', '')}|{one['code']}" for one in element.get("coding", ())}


def test_src_01_get_and_form_find_the_same(clinic, patient):
    by_address = searched(clinic, f"Observation?patient={patient}&category=exam")
    by_form = posted(clinic, "Observation", f"patient={patient}&category=exam")
    both = posted(clinic, "Observation", "category=exam", f"?patient={patient}")
    assert by_address["total"] == by_form["total"] == both["total"] > 0
    assert ids(by_address) == ids(by_form) == ids(both)


def test_src_01_a_form_is_a_form(clinic):
    path = "/fhir/Observation/_search"
    for headers in ({"Content-Type": "application/json"}, {"Content-Encoding": "gzip"}):
        answer = clinic.ask("POST", path, content=b"{}", headers=headers)
        assert answer.status_code == 415
        assert issues(answer)[0]["code"] == "not-supported"
    assert clinic.ask("POST", path).status_code == 200
    assert clinic.ask("POST", f"{path}?_format=xml").status_code == 406


def test_src_02_category_and_date(clinic, patient, own):
    when = own[0]["effectiveDateTime"][:10]
    query = f"Observation?patient={patient}&category=exam&_count=500"
    assert len(ids(searched(clinic, f"{query}&date=ge{when}"))) == len(own)
    assert searched(clinic, f"{query}&date=gt{when}")["total"] == 0
    assert searched(clinic, f"{query}&date=ge2026-01&date=lt2027")["total"] == len(own)
    assert searched(clinic, f"{query.replace('exam', 'laboratory')}")["total"] == 0


def test_src_03_codes_or_codes_of_both_sides(clinic, patient, own):
    wanted = (f"{LOINC}|41299-9", f"{LOINC}|41311-2")
    expected = chosen(own, lambda one: codes(one["code"]) & set(wanted))
    query = f"Observation?patient={patient}&code={','.join(wanted)}"
    assert set(ids(searched(clinic, query))) == expected
    assert len(expected) == 2
    assert set(ids(searched(clinic, f"{query}&date=2026"))) == expected
    assert set(ids(searched(clinic, f"Observation?patient={patient}&code=41299-9"))) < expected


def test_src_03_src_10_not_and_missing(clinic, patient, own):
    query = f"Observation?patient={patient}&_count=500"
    expected = chosen(own, lambda one: "41299-9" not in str(one["code"]))
    assert set(ids(searched(clinic, f"{query}&code:not={LOINC}|41299-9"))) == expected
    absent = chosen(own, lambda one: "dataAbsentReason" in one)
    assert set(ids(searched(clinic, f"{query}&data-absent-reason:missing=false"))) == absent
    there = {one["id"] for one in own} - absent
    assert set(ids(searched(clinic, f"{query}&data-absent-reason:missing=true"))) == there


def test_src_04_status_and_time_of_storing(clinic, patient, own):
    query = f"Observation?patient={patient}&category=exam&_count=500"
    cancelled = chosen(own, lambda one: one["status"] == "cancelled")
    assert set(ids(searched(clinic, f"{query}&status=cancelled"))) == cancelled
    stored = own[0]["meta"]["lastUpdated"]
    assert len(ids(searched(clinic, f"{query}&_lastUpdated=ge{stored}"))) == len(own)
    assert searched(clinic, f"{query}&_lastUpdated=gt2100")["total"] == 0


def test_src_05_src_22_identifier_in_four_forms(clinic, own):
    by = own[0]["identifier"][0]
    system, value = quote(by["system"], safe=""), quote(by["value"], safe="")
    for form in (f"{system}%7C{value}", value):
        assert ids(searched(clinic, f"Observation?identifier={form}")) == [own[0]["id"]]
    everything = searched(clinic, "Observation?_summary=count")["total"]
    assert searched(clinic, f"Observation?identifier={system}%7C")["total"] == everything
    assert searched(clinic, f"Observation?identifier=%7C{value}")["total"] == 0
    assert searched(clinic, f"Observation?identifier={value[:-1]}")["total"] == 0


def test_src_05_src_22_a_comma_and_a_bar_in_an_identifier(service):
    exam = example("draft")
    exam["patient"]["identifier"]["value"] = "a,b|c"
    assert service.post("/exams", exam).status_code == 201
    by = exam["patient"]["identifier"]["system"]
    for value, total in ((r"a\,b\|c", 1), ("a,b", 0), (r"a\,b", 0)):
        assert searched(service, f"Patient?identifier={by}|{value}")["total"] == total
    answer = service.get(f"/fhir/Patient?identifier={by}|b|c")
    assert answer.status_code == 400


def test_src_06_patient_in_three_forms(clinic, patient, own):
    for form in (patient, f"Patient/{patient}", f"{BASE}/fhir/Patient/{patient}"):
        for name in ("patient", "subject", "subject:Patient"):
            assert searched(clinic, f"Observation?{name}={form}")["total"] == len(own)
    elsewhere = f"https://elsewhere.example.org/fhir/Patient/{patient}"
    assert searched(clinic, f"Observation?patient={elsewhere}")["total"] == 0


def test_src_06_by_the_identifier_of_the_patient(clinic, own):
    value = example("stiff-shoulder")["patient"]["identifier"]["value"]
    for name in ("patient.identifier", "subject:Patient.identifier"):
        found = searched(clinic, f"Observation?{name}={PEOPLE}|{value}")
        assert found["total"] == len(own)
    assert searched(clinic, f"Observation?patient.identifier={PEOPLE}|nobody")["total"] == 0


# exams at these times; the minute at the boundary of a day in +01:00 is the day before in UTC
TIMES = {
    "a": "2026-03-01T23:59:30+01:00",
    "b": "2026-03-02T00:15:00+01:00",
    "c": "2026-03-02T00:15:00Z",
    "d": "2026-03-02T23:59:59Z",
    "e": "2026-03-03T00:00:00Z",
}


@pytest.fixture(scope="module")
def timed(tmp_path_factory):
    with Serving(tmp_path_factory.mktemp("timed") / "exams.sqlite3") as serving:
        for name, when in TIMES.items():
            exam = example("draft")
            exam["identifier"]["value"], exam["effective"] = name, when
            answer = serving.post("/exams", exam)
            assert answer.status_code == 201, answer.text
        yield serving


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("2026-03-02", "cd"),
        ("eq2026-03-02", "cd"),
        ("ne2026-03-02", "abe"),
        ("gt2026-03-02", "e"),
        ("ge2026-03-02", "cde"),
        ("lt2026-03-02", "ab"),
        ("le2026-03-02", "abcd"),
        ("sa2026-03-02", "e"),
        ("eb2026-03-02", "ab"),
        ("ap2026-03-02", "abcde"),
        ("2026-03", "abcde"),
        ("ne2026-03", ""),
        ("gt2026-03", ""),
        ("2026", "abcde"),
        ("lt2026", ""),
        ("sa2025", "abcde"),
        ("2026-03-01", "ab"),
        ("2026-03-03", "e"),
        ("ap2026-03-04", "e"),
        ("2026-03-01T23:15Z", "b"),
        ("2026-03-02T00:15+01:00", "b"),
        ("2026-03-02T00:15:00+01:00", "b"),
        ("2026-03-02T00:15", "c"),
        ("2026-03-01T22:59Z", "a"),
        ("gt2026-03-02T00:15+01:00", "cde"),
        ("ge2026-03-02T00:15+01:00", "bcde"),
        ("lt2026-03-02T00:15+01:00", "a"),
        ("le2026-03-02T00:15+01:00", "ab"),
        ("sa2026-03-02T00:15+01:00", "cde"),
        ("eb2026-03-02T00:15+01:00", "a"),
        ("2026-03-02T23:59:59Z", "d"),
        ("2026-03-03T00:59:59+01:00", "d"),
        ("2026-03-02T23:59:58Z", ""),
        ("gt2026-03-02T23:59:59Z", "e"),
        ("ge2026-03-02T23:59:59Z", "de"),
        ("lt2026-03-03T00:00:00Z", "abcd"),
        ("le2026-03-03T00:00:00Z", "abcde"),
        ("lt2026-03-03T00:00:00.000Z", "abcd"),
        ("sa2026-03-02T23:59Z", "e"),
        ("2026-03-01,2026-03-03", "abe"),
        ("ge2026-03-02&date=lt2026-03-03", "cd"),
        ("ge2026-03-01&date=ne2026-03-02", "abe"),
    ],
)
def test_src_07_dates_around_the_boundary_of_a_day(timed, value, expected):
    plus = value.replace("+", "%2B")
    found = matches(searched(timed, f"DiagnosticReport?date={plus}"))
    assert "".join(sorted(one["identifier"][0]["value"] for one in found)) == expected


def test_src_07_a_plus_that_was_not_escaped_is_understood(timed):
    assert searched(timed, "DiagnosticReport?date=2026-03-02T00:15+01:00")["total"] == 1


def test_src_08_id_time_profile_and_tag(clinic, own):
    first, second = own[0]["id"], own[1]["id"]
    found = searched(clinic, f"Observation?_id={first},{second}&_lastUpdated=gt2020")
    assert set(ids(found)) == {first, second}
    profiled = [one for one in own if "profile" in one["meta"]]
    for one in profiled[:1]:
        by = quote(one["meta"]["profile"][0], safe="")
        assert one["id"] in ids(searched(clinic, f"Observation?_profile={by}&_count=500"))
    for kind in ("Observation", "DiagnosticReport", "Patient", "Practitioner", "Organization"):
        assert searched(clinic, f"{kind}?_profile=http://example.org/none")["total"] == 0
        assert searched(clinic, f"{kind}?_tag=http://example.org/none|x")["total"] == 0
        assert searched(clinic, f"{kind}?_lastUpdated=lt2020")["total"] == 0


def test_src_09_an_unknown_parameter_is_named_and_not_in_the_self_link(clinic, patient, own):
    found = searched(clinic, f"Observation?patinet={patient}&patient={patient}&_count=500")
    (outcome,) = matches(found, "outcome")
    assert "patinet" in outcome["issue"][0]["details"]["text"]
    assert outcome["issue"][0]["severity"] == "warning"
    assert "patinet" not in links(found)["self"]
    assert found["total"] == len(own)
    strict = clinic.get("/fhir/Observation?patinet=x", Prefer="handling=strict")
    assert strict.status_code == 400
    assert issues(strict)[0]["expression"] == ["http.patinet"]


def test_src_10_src_11_all_problems_at_once(clinic):
    answer = clinic.get("/fhir/Observation?code:in=x&date=23%20May&_count=few")
    assert answer.status_code == 400
    assert [(one["code"], one["expression"]) for one in issues(answer)] == [
        ("not-supported", ["http.code"]),
        ("value", ["http.date"]),
        ("value", ["http._count"]),
    ]


@pytest.mark.parametrize(
    "query",
    [
        *("patient:exact=1", "identifier:of-type=a|b", "identifier=", "patient=Observation/1"),
        *("_id=a%20b", "_count=few", "_revinclude=Observation:subject", "patient.name=x"),
        *("_include=Observation:focus", "date=", "value-quantity=much", "_summary=some"),
    ],
)
def test_src_10_src_11_modifiers_and_bad_values_are_400(clinic, query):
    answer = clinic.get(f"/fhir/Observation?{query}")
    assert answer.status_code == 400
    assert issues(answer)[0]["severity"] == "error"


def test_src_11_no_match_is_an_empty_bundle(clinic):
    found = searched(clinic, "Observation?patient=unknown")
    assert found["total"] == 0
    assert "entry" not in found


def test_src_12_links_walk_everything_once_and_back(clinic, patient, own):
    pages = list(walked(clinic, searched(clinic, f"Observation?patient={patient}&_count=7")))
    seen = [ids(page) for page in pages]
    assert {len(page) for page in seen[:-1]} == {7}
    assert sorted(chain.from_iterable(seen)) == sorted(one["id"] for one in own)
    assert {page["total"] for page in pages} == {len(own)}
    back = [ids(page) for page in walked(clinic, pages[-1], "previous")]
    assert back == seen[::-1]
    assert ids(clinic.get(inside(links(pages[3])["first"])).json()) == seen[0]
    assert ids(clinic.get(inside(links(pages[2])["self"])).json()) == seen[2]


def test_src_12_links_after_a_form_work_alone_and_say_nothing(clinic, own):
    value = example("stiff-shoulder")["patient"]["identifier"]["value"]
    form = f"patient.identifier={PEOPLE}|{value}&_count=20"
    pages = list(walked(clinic, posted(clinic, "Observation", form)))
    assert sorted(chain.from_iterable(map(ids, pages))) == sorted(one["id"] for one in own)
    for page in pages:
        for url in links(page).values():
            assert value not in url
            assert "identifier" not in url
    assert ids(clinic.get(inside(links(pages[0])["self"])).json()) == ids(pages[0])


def test_src_12_links_survive_a_restart_and_nothing_else(tmp_path):
    path = tmp_path / "exams.sqlite3"
    with Serving(path) as service:
        service.post("/exams", raw_example("draft"))
        following = links(searched(service, "Observation?_count=2"))["next"]
        first = service.get(inside(following)).content
    with Serving(path) as service:
        assert (
            service.get(inside(following)).content.partition(b'"entry"')[2]
            == (first.partition(b'"entry"')[2])
        )
        altered = service.get(inside(following)[:-3] + "AAA")
        beside = service.get(f"{inside(following)}&patient=1")
        other = service.get(inside(following).replace("Observation", "Patient"))
    assert [altered.status_code, beside.status_code, other.status_code] == [400] * 3
    with Serving(tmp_path / "other.sqlite3") as service:
        answer = service.get(inside(following))
        assert answer.status_code == 410
        assert issues(answer)[0]["code"] == "processing"


def test_src_12_a_form_with_many_ids_is_answered_on_one_page(clinic, own):
    wanted = ",".join([*(one["id"] for one in own), *(f"none-{n:040d}" for n in range(400))])
    found = posted(clinic, "Observation", f"_id={wanted}&_count=500")
    assert set(ids(found)) == {one["id"] for one in own}
    refused = clinic.ask("POST", "/fhir/Observation/_search", content=f"_id={wanted}".encode())
    assert refused.status_code == 400
    assert issues(refused)[0]["code"] == "too-costly"


def test_src_13_a_walk_while_exams_come_finds_what_was_there_once(service):
    receipt = service.post("/exams", raw_example("stiff-shoulder")).json()
    page = searched(service, "Observation?_count=10")
    at_first = page["total"]
    seen = []
    for number, one in enumerate(walked(service, page)):
        seen += ids(one)
        other = example("draft")
        other["identifier"]["value"] = f"D-{number}"
        assert service.post("/exams", other).status_code == 201
        if number == 2:
            service.post(f"/exams/{receipt['id']}/withdrawal", {"reason": REASON}, If_Match='W/"1"')
    assert len(seen) == len(set(seen)) == at_first
    assert searched(service, "Observation?_count=0")["total"] > at_first


def test_src_14_a_count_alone(clinic, own, patient):
    for query in ("_count=0", "_summary=count", "_count=0&_total=none"):
        found = searched(clinic, f"Observation?patient={patient}&{query}")
        assert found["total"] == len(own)
        assert "entry" not in found
        assert list(links(found)) == ["self"]


def test_src_15_sorted_by_date_and_time(clinic):
    for sort, sign in (("date", 1), ("-date", -1)):
        found = searched(clinic, f"DiagnosticReport?_sort={sort}")
        times = [one["effectiveDateTime"] for one in matches(found)]
        assert times == sorted(times)[::sign]
        assert len(set(times)) == len(EXAMS)
    stored = [
        one["meta"]["lastUpdated"]
        for one in matches(searched(clinic, "DiagnosticReport?_sort=-_lastUpdated"))
    ]
    assert stored == sorted(stored, reverse=True)
    by_id = ids(searched(clinic, "Observation?_sort=_id&_count=500"))
    assert by_id == sorted(by_id)
    pages = list(walked(clinic, searched(clinic, "Observation?_sort=-date,_id&_count=90")))
    walk = [(one["effectiveDateTime"], one["id"]) for page in pages for one in matches(page)]
    assert len({one for _, one in walk}) == pages[0]["total"]
    assert [when for when, _ in walk] == sorted((when for when, _ in walk), reverse=True)


def test_src_15_what_cannot_be_sorted_by_is_told(clinic):
    found = searched(clinic, "Observation?_sort=foo&_count=1")
    (outcome,) = matches(found, "outcome")
    assert outcome["issue"][0]["expression"] == ["http._sort"]
    assert "_sort" not in links(found)["self"]
    strict = clinic.get("/fhir/Observation?_sort=foo", Prefer="handling=strict")
    assert strict.status_code == 400


def test_src_16_prv_04_members_and_provenance_come_along(clinic, own):
    panel = next(one for one in own if "hasMember" in one)
    query = "_include=Observation:has-member&_revinclude=Provenance:target"
    found = searched(clinic, f"Observation?_id={panel['id']}&{query}")
    assert found["total"] == 1
    members = {one["reference"] for one in panel["hasMember"]}
    included = {f"{one['resourceType']}/{one['id']}" for one in matches(found, "include")}
    assert included > members
    assert {one.partition("/")[0] for one in included - members} == {"Provenance"}


def test_src_16_includes_of_every_reference(clinic, own, patient):
    derived = next(one for one in own if "derivedFrom" in one)
    base = f"Observation?_id={derived['id']}"
    sources = {one["reference"] for one in derived["derivedFrom"]}
    for name, expected in (
        ("derived-from", sources),
        ("subject", {f"Patient/{patient}"}),
        ("patient", {f"Patient/{patient}"}),
        ("performer", {one["reference"] for one in derived["performer"]}),
    ):
        found = matches(searched(clinic, f"{base}&_include=Observation:{name}"), "include")
        assert {f"{one['resourceType']}/{one['id']}" for one in found} == expected
    source = next(iter(sources)).partition("/")[2]
    back = f"Observation?_id={source}&_revinclude=Observation:derived-from"
    assert derived["id"] in ids(searched(clinic, back), "include")


def test_src_16_results_of_a_report(clinic, patient):
    query = f"DiagnosticReport?patient={patient}&_include=DiagnosticReport:result"
    found = searched(clinic, query)
    (report,) = matches(found)
    panels = {one["reference"].partition("/")[2] for one in report["result"]}
    assert set(ids(found, "include")) == panels
    back = f"Observation?_id={next(iter(panels))}&_revinclude=DiagnosticReport:result"
    assert ids(searched(clinic, back), "include") == [report["id"]]


def test_src_16_what_is_a_match_is_not_included_again(clinic, patient, own):
    query = f"Observation?patient={patient}&_count=500&_include=Observation:has-member"
    query += "&_revinclude=Observation:derived-from"
    found = searched(clinic, query)
    assert len(ids(found)) == len(own)
    assert matches(found, "include") == []


def test_src_17_src_18_parts_are_tagged(clinic, own):
    measured = next(one for one in own if "valueQuantity" in one)
    base = f"Observation?_id={measured['id']}"
    (summary,) = matches(searched(clinic, f"{base}&_summary=true"))
    assert "category" not in summary
    assert summary["valueQuantity"] == measured["valueQuantity"]
    (part,) = matches(searched(clinic, f"{base}&_elements=code,valueQuantity"))
    assert {*part} == {"resourceType", "id", "meta", "status", "code", "valueQuantity"}
    for one in (summary, part):
        assert [tag["code"] for tag in one["meta"]["tag"]] == ["SUBSETTED"]
    (whole,) = matches(searched(clinic, f"{base}&_summary=false"))
    assert whole == measured
    read = clinic.get(f"/fhir/Observation/{measured['id']}?_elements=code,valueQuantity").json()
    assert read == part
    assert clinic.get(f"/fhir/Observation/{measured['id']}?_summary=count").status_code == 400


def test_src_19_side_and_site(clinic, patient, own):
    right = f"{SNOMED}|24028007"
    sided = chosen(own, lambda one: "24028007" in str(one.get("bodySite", {}).get("extension")))
    query = f"Observation?patient={patient}&_count=500"
    assert set(ids(searched(clinic, f"{query}&-laterality={right}"))) == sided
    site = next(iter(codes(own[5]["bodySite"])))
    there = chosen(own, lambda one: site in codes(one["bodySite"]))
    assert set(ids(searched(clinic, f"{query}&-body-site={site}"))) == there


def test_src_20_values_components_and_the_rest(clinic, patient, own):
    query = f"Observation?patient={patient}&_count=500"
    low = chosen(
        own,
        lambda one: (
            one.get("valueQuantity", {}).get("code") == "deg" and one["valueQuantity"]["value"] < 60
        ),
    )
    assert set(ids(searched(clinic, f"{query}&value-quantity=lt60||deg"))) == low
    graded = next(one for one in own if one.get("valueCodeableConcept", {}).get("coding"))
    value = next(iter(codes(graded["valueCodeableConcept"])))
    found = chosen(own, lambda one: value in codes(one.get("valueCodeableConcept", {})))
    assert set(ids(searched(clinic, f"{query}&value-concept={quote(value)}"))) == found
    part = next(one for one in own if "component" in one)
    code = next(iter(codes(part["component"][0]["code"])))
    with_part = chosen(own, lambda one: code in str([codes(c["code"]) for c in parts(one)]))
    for name in ("component-code", "combo-code"):
        assert set(ids(searched(clinic, f"{query}&{name}={quote(code)}"))) == with_part
    method = next(iter(codes(own[0]["method"])))
    by_method = chosen(own, lambda one: method in codes(one.get("method", {})))
    assert set(ids(searched(clinic, f"{query}&method={quote(method)}"))) == by_method


def parts(one):
    return one.get("component", ())


def test_src_20_members_and_sources(clinic, own):
    panel = next(one for one in own if "hasMember" in one)
    member = panel["hasMember"][0]["reference"]
    assert ids(searched(clinic, f"Observation?has-member={member}")) == [panel["id"]]
    derived = next(one for one in own if "derivedFrom" in one)
    source = derived["derivedFrom"][0]["reference"]
    expected = {
        one["id"] for one in own if source in str([r["reference"] for r in derivations(one)])
    }
    assert set(ids(searched(clinic, f"Observation?derived-from={source}"))) == expected


def derivations(one):
    return one.get("derivedFrom", ())


def test_src_21_withdrawn_records_are_found(service, stored):
    whole = searched(service, "Observation?_count=500")
    service.post(f"/exams/{stored['id']}/withdrawal", {"reason": REASON}, If_Match='W/"1"')
    found = searched(service, "Observation?_count=500")
    assert set(ids(found)) == set(ids(whole))
    assert {one["status"] for one in matches(found)} == {"entered-in-error"}
    assert searched(service, "Observation?status=final")["total"] == 0
    assert searched(service, "Observation?status:not=entered-in-error")["total"] == 0


def test_src_23_the_record_of_one_patient(clinic, patient, own):
    found = searched(clinic, f"Patient/{patient}/Observation?category=exam&_count=500")
    assert set(ids(found)) == {one["id"] for one in own}
    pages = list(walked(clinic, searched(clinic, f"Patient/{patient}/Observation?_count=30")))
    assert sum(len(ids(page)) for page in pages) == len(own)
    for kind in ("Patient", "CodeSystem", "Practitioner", "Nothing"):
        answer = clinic.get(f"/fhir/Patient/{patient}/{kind}")
        assert answer.status_code == 404
        assert issues(answer)[0]["code"] == "not-supported"


def test_src_24_total_or_none(clinic):
    assert "total" not in searched(clinic, "Observation?_total=none&_count=3")
    for kind in ("accurate", "estimate"):
        found = searched(clinic, f"Observation?_total={kind}&_count=3")
        assert found["total"] == searched(clinic, "Observation?_count=0")["total"]
    pages = list(walked(clinic, searched(clinic, "Observation?_total=none&_count=100")))
    assert all("total" not in page for page in pages)


def test_bnd_03_bnd_04_entries_say_what_and_where_they_are(clinic, patient):
    query = f"Observation?patient={patient}&_count=9&_revinclude=Provenance:target&nothing=1"
    found = searched(clinic, query)
    assert found["type"] == "searchset"
    modes = [entry["search"]["mode"] for entry in found["entry"]]
    assert set(modes) == {"match", "include", "outcome"}
    for entry in found["entry"]:
        if entry["search"]["mode"] != "outcome":
            resource = entry["resource"]
            path = f"{resource['resourceType']}/{resource['id']}"
            assert entry["fullUrl"] == f"{BASE}/fhir/{path}"
            assert "/_history/" not in entry["fullUrl"]
    assert found["total"] > modes.count("match") == 9


def test_neg_09_gzip_when_asked_for(clinic):
    plain = clinic.ask("GET", "/fhir/Observation?_count=200", headers={"Accept-Encoding": ""})
    packed = clinic.ask("GET", "/fhir/Observation?_count=200", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert packed.num_bytes_downloaded < plain.num_bytes_downloaded / 4
    assert matches(packed.json()) == matches(plain.json())
    for answer in (plain, packed):
        assert {one.strip() for one in answer.headers["vary"].split(",")} == {
            "Accept",
            "Accept-Encoding",
        }


def test_neg_12_pretty_changes_white_space_alone(clinic, own):
    path = f"/fhir/Observation/{own[0]['id']}"
    plain, pretty = clinic.get(path), clinic.get(f"{path}?_pretty=true")
    assert pretty.text != plain.text
    assert json.loads(pretty.text) == json.loads(plain.text)
    assert pretty.headers["etag"] == plain.headers["etag"]
    found = clinic.get("/fhir/Observation?_count=3&_pretty=true")
    assert "\n  " in found.text
    assert "_pretty" not in links(found.json())["self"]


def test_neg_06_numbers_keep_their_digits_in_every_form(service):
    raw = (ROOT / "examples" / "draft.json").read_text()
    exam = json.loads(raw)
    value = next(f for f in exam["findings"] if "angle" in f)["angle"]["value"]
    marked = raw.replace(f'"value": {value},', f'"value": {value}.0,', 1).encode()
    assert service.post("/exams", marked).status_code == 201
    for query in ("", "&_summary=true", "&_pretty=true", "&_elements=value"):
        text = service.get(f"/fhir/Observation?_count=100{query}").text.replace(": ", ":")
        assert f'"value":{value}.0' in text, query


@pytest.mark.parametrize("effective", ["9999-12-31T23:59:59Z", "0001-01-01T00:00:00+14:00"])
def test_src_11_an_exam_at_the_end_of_time_hides_nothing(tmp_path, effective):
    with Serving(tmp_path / "ends.sqlite3") as service:
        exam = example("draft") | {"effective": effective}
        exam["patient"]["birthDate"] = "0001"
        assert service.post("/exams", exam).status_code == 201
        assert service.post("/exams", raw_example("child")).status_code == 201
        reports = service.get("/fhir/DiagnosticReport").json()
        assert reports["total"] == 2
        found = service.get(f"/fhir/DiagnosticReport?date={effective[:4]}").json()
        assert found["total"] == 1
