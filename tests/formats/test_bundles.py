"""Bundles: collection, transaction and document, made of stored rows."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from tests.intake.desks import BASE, export, intake
from tests.intake.exams import exam, finding, raw, without

from brachium.export import Wanted
from brachium.formats.digest import content_digest
from brachium.formats.outgoing import SHARED_TYPES, References
from brachium.formats.register import BUNDLES

FHIR = f"{BASE}/fhir"
SEARCH = re.compile(r"^(Patient|Practitioner|Organization)\?identifier=")


@pytest.fixture
def corrected():
    """An exam in two versions: one value changed, one finding taken out."""
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    changed = without(exam(), "tender")
    finding(changed, "abduction-r")["angle"]["value"] = 160
    desk.correct(exam_id, raw(changed), "read wrongly", 1)
    return desk, exam_id


def bundle(made, kind, version=None, references=References.ENTRY):
    desk, exam_id = made
    body = export(desk).bundle(exam_id, kind, version, Wanted(references=references))
    return json.loads(body)


def resources(found, kind):
    entries = (entry["resource"] for entry in found["entry"])
    return [one for one in entries if one["resourceType"] == kind]


def references_in(value):
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield value["reference"]
        for part in value.values():
            yield from references_in(part)
    elif isinstance(value, list):
        for part in value:
            yield from references_in(part)


def test_bnd_01_a_collection_has_full_url_and_resource_only(corrected) -> None:
    found = bundle(corrected, "collection")
    assert found["type"] == "collection"
    assert set(found) == {"resourceType", "identifier", "type", "timestamp", "entry"}
    assert all(set(entry) == {"fullUrl", "resource"} for entry in found["entry"])
    urls = [entry["fullUrl"] for entry in found["entry"]]
    assert len(urls) == len(set(urls))


def test_bnd_01_a_collection_holds_the_stored_text_byte_for_byte(corrected) -> None:
    desk, exam_id = corrected
    body = export(desk).bundle(exam_id, "collection")
    rows = desk.desk.store.resources(exam_id)
    assert all(row.text in body for row in rows)
    assert b'"value":175.0,' in body
    assert b'"value":34.40,' in body


def test_bnd_04_full_url_is_absolute_unversioned_and_agrees_with_the_id(corrected) -> None:
    for kind in ("collection", "document"):
        for entry in bundle(corrected, kind)["entry"]:
            resource = entry["resource"]
            assert entry["fullUrl"] == f"{FHIR}/{resource['resourceType']}/{resource['id']}"
    for entry in bundle(corrected, "transaction")["entry"]:
        assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", entry["fullUrl"])


@pytest.mark.parametrize("kind", list(BUNDLES))
def test_bnd_05_a_version_gives_the_same_bytes_on_any_day(kind) -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    first = export(desk).bundle(exam_id, kind, 1)
    changed = exam()
    finding(changed, "abduction-r")["angle"]["value"] = 160
    desk.correct(exam_id, raw(changed), "read wrongly", 1)
    assert export(desk).bundle(exam_id, kind, 1) == first
    second = export(desk).bundle(exam_id, kind, 2)
    assert second != first
    assert json.loads(second)["identifier"] != json.loads(first)["identifier"]


def test_bnd_05_the_digest_is_that_of_the_body() -> None:
    coded = base64.b64encode(hashlib.sha256(b"body").digest()).decode()
    assert content_digest(b"body") == f"sha-256=:{coded}:"
    assert content_digest(b"body") != content_digest(b"body ")


def test_bnd_06_a_version_holds_what_was_current_then_and_its_provenance(corrected) -> None:
    first, second = bundle(corrected, "collection", 1), bundle(corrected, "collection", 2)

    def held(found, kind="Observation"):
        return {
            (entry["resource"]["id"], entry["resource"]["meta"]["versionId"]): entry["resource"]
            for entry in found["entry"]
            if entry["resource"]["resourceType"] == kind
        }

    assert {version for _, version in held(first)} == {"1"}
    values = [r["valueQuantity"]["value"] for r in held(first).values() if "valueQuantity" in r]
    assert 150 in values
    assert 160 not in values
    (record,) = held(first, "Provenance").values()
    assert {one["reference"] for one in record["target"]} == {
        f"{e['resource']['resourceType']}/{e['resource']['id']}/_history/1"
        for e in first["entry"]
        if e["resource"]["resourceType"] in ("Observation", "DiagnosticReport")
    }
    current = {
        f"{e['resource']['resourceType']}/{e['resource']['id']}/_history/"
        f"{e['resource']['meta']['versionId']}"
        for e in second["entry"]
        if e["resource"]["resourceType"] in ("Observation", "DiagnosticReport")
    }
    records = held(second, "Provenance").values()
    told = {one["reference"] for record in records for one in record["target"]}
    assert current <= told
    assert len(records) == 2


def test_txn_09_first_versions_are_created_only_where_they_are_not_known() -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    found = bundle((desk, exam_id), "transaction")
    for entry in found["entry"]:
        resource, request = entry["resource"], entry["request"]
        assert "id" not in resource
        assert "versionId" not in json.dumps(resource.get("meta", {}))
        assert (request["method"], request["url"]) == ("POST", resource["resourceType"])
        if resource["resourceType"] != "Provenance":
            ((name, (criterion,)),) = parse_qs(request["ifNoneExist"]).items()
            by = resource["identifier"][0]
            escaped = by["value"].replace("|", "\\|")
            assert (name, criterion) == ("identifier", f"{by['system']}|{escaped}")


def test_txn_09_references_name_entries_of_the_bundle_or_this_server(corrected) -> None:
    for version in (1, 2):
        found = bundle(corrected, "transaction", version)
        urls = {entry["fullUrl"] for entry in found["entry"]}
        for reference in references_in(found["entry"]):
            assert reference in urls or re.match(rf"{FHIR}/\w+/[0-9a-f-]+/_history/\d", reference)
    first = bundle(corrected, "transaction", 1)
    assert set(references_in(first["entry"])) <= {entry["fullUrl"] for entry in first["entry"]}


def test_txn_09_a_revised_version_is_never_taken_for_the_present_one(corrected) -> None:
    found = bundle(corrected, "transaction", 2)
    (record,) = [
        e["resource"] for e in found["entry"] if e["resource"]["resourceType"] == "Provenance"
    ]
    revised = [e["what"]["reference"] for e in record["entity"] if e["role"] == "revision"]
    assert revised
    assert all(re.match(rf"{FHIR}/\w+/[0-9a-f-]+/_history/1$", one) for one in revised)
    assert all(one["reference"].startswith("urn:uuid:") for one in record["target"])


def test_cor_05_later_versions_update_by_identifier_and_shared_ones_never_do() -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    changed = without(exam(), "tender")
    changed["patient"]["birthDate"] = "1969-04-12"
    desk.correct(exam_id, raw(changed), "born a day later", 1)
    rows = {row.id: row for row in desk.desk.store.resources(exam_id)}
    methods = set()
    for entry in bundle((desk, exam_id), "transaction")["entry"]:
        row, request = rows[entry["fullUrl"].removeprefix("urn:uuid:")], entry["request"]
        methods.add((request["method"], row.type in SHARED_TYPES, row.version > 1))
        if request["method"] == "PUT":
            parts = urlsplit(request["url"])
            assert parts.path == row.type
            assert list(parse_qs(parts.query)) == ["identifier"]
            assert "ifNoneExist" not in request
    # the patient is in its second version and is still not updated at the receiver's
    assert ("POST", True, True) in methods
    assert ("PUT", False, True) in methods
    assert ("PUT", True, True) not in methods
    assert ("POST", False, True) not in methods


@pytest.mark.parametrize("policy", list(References))
def test_txn_10_shared_resources_are_pointed_at_as_the_receiver_wants(policy) -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    found = bundle((desk, exam_id), "transaction", references=policy)
    types = {entry["resource"]["resourceType"] for entry in found["entry"]}
    assert (types >= SHARED_TYPES) is (policy is References.ENTRY)
    assert not (types & SHARED_TYPES) or policy is References.ENTRY
    expected = exam()["patient"]["identifier"]
    for one in resources(found, "Observation"):
        subject = one["subject"]
        if policy is References.ENTRY:
            assert subject["reference"].startswith("urn:uuid:")
        elif policy is References.LITERAL:
            assert subject["reference"].startswith(f"{FHIR}/Patient/")
        elif policy is References.CONDITIONAL:
            assert SEARCH.match(subject["reference"])
            token = unquote(subject["reference"].partition("=")[2])
            assert token == f"{expected['system']}|{expected['value']}"
        else:
            assert subject == {"type": "Patient", "identifier": expected}


def test_bnd_02_a_document_begins_with_a_composition_that_holds_everything(corrected) -> None:
    found = bundle(corrected, "document")
    assert found["type"] == "document"
    assert found["identifier"]["system"]
    assert found["identifier"]["value"]
    assert found["timestamp"]
    urls = [entry["fullUrl"] for entry in found["entry"]]
    assert len(urls) == len(set(urls))
    assert set(references_in(found["entry"])) <= set(urls)
    composition = found["entry"][0]["resource"]
    assert composition["resourceType"] == "Composition"
    assert composition["status"] == "amended"
    assert all(section["text"]["div"] for section in composition["section"])


def test_bnd_02_doc_02_the_narrative_alone_tells_every_finding(corrected) -> None:
    composition = bundle(corrected, "document")["entry"][0]["resource"]
    told = "".join(section["text"]["div"] for section in composition["section"][1:])
    for words in ("160 deg", "175.0 deg", "34.40 kg", "Not tested: pain", "MRC 4+"):
        assert words in told, words
    assert "Entered in error" in [section["title"] for section in composition["section"]]
    assert "does not hold" in told


def test_a_document_of_a_withdrawn_exam_says_so_everywhere() -> None:
    desk = intake()
    exam_id = desk.receive(raw(exam())).exam.id
    desk.withdraw(exam_id, "wrong patient", 1)
    composition = bundle((desk, exam_id), "document")["entry"][0]["resource"]
    assert composition["status"] == "entered-in-error"
    assert "Withdrawn" in composition["section"][0]["text"]["div"]
    for section in composition["section"][1:]:
        assert section["text"]["div"].count("ENTERED IN ERROR") == section["text"]["div"].count(
            "<tr>"
        )


def test_a_reference_inside_a_note_is_left_alone() -> None:
    desk = intake()
    content = exam()
    note = '"reference":"Patient/00000000-0000-0000-0000-000000000000" <script>&'
    finding(content, "abduction-r")["note"] = note
    exam_id = desk.receive(raw(content)).exam.id
    for kind in BUNDLES:
        found = bundle((desk, exam_id), kind)
        notes = [
            e["resource"]["note"][0]["text"] for e in found["entry"] if "note" in e["resource"]
        ]
        assert notes == [note]
    composition = bundle((desk, exam_id), "document")["entry"][0]["resource"]
    assert "<script>" not in json.dumps(composition)
