"""Provenance: one per exam version, with who, what and from where."""

from __future__ import annotations

from dataclasses import replace

from tests.coding.coded import STAMP, Stamp, code, tables
from tests.exam.builders import move

from brachium.exam.canonical import canonical, digest


def of(coded):
    (found,) = coded.of("Provenance")
    return found


def test_prv_01_targets_are_every_resource_of_the_exam_with_its_version():
    coded = code(move(150), move(140, side="left"))
    targets = [t["reference"] for t in of(coded)["target"]]
    kinds = ("Observation", "DiagnosticReport")
    wanted = [f"{one['resourceType']}/{one['id']}/_history/1" for k in kinds for one in coded.of(k)]
    assert sorted(targets) == sorted(wanted)
    assert of(coded)["activity"]["coding"][0]["code"] == "CREATE"


def test_prv_02_agents_are_the_examiner_and_this_service_with_its_tables():
    coded = code(move(150))
    author, assembler = of(coded)["agent"]
    assert author["type"]["coding"][0]["code"] == "author"
    assert author["who"]["reference"] == f"Practitioner/{coded.of('Practitioner')[0]['id']}"
    assert assembler["type"]["coding"][0]["code"] == "assembler"
    for wanted in ("9.9.9", tables().edition, tables().digest):
        assert wanted in assembler["who"]["display"]


def test_prv_03_the_source_is_the_posted_payload_by_its_digest():
    coded = code(move(150))
    (entity,) = of(coded)["entity"]
    assert entity["role"] == "source"
    assert entity["what"]["identifier"]["value"] == digest(canonical(coded.exam))


def test_cor_06_a_correction_points_to_what_it_changes_and_says_why():
    plain = code(move(150), move(140, side="left"))
    changed = plain.leaf("f0")["id"]
    stamp = replace(
        STAMP,
        version=2,
        report_status="corrected",
        statuses={"f0": "corrected"},
        reason="typing error",
        activity="update",
        versions={changed: 2},
        changed=frozenset({changed}),
    )
    found = of(code(move(160), move(140, side="left"), stamp=stamp))
    assert [t["reference"] for t in found["target"]] == [f"Observation/{changed}/_history/2"]
    revised = [e["what"]["reference"] for e in found["entity"] if e["role"] == "revision"]
    assert revised == [f"Observation/{changed}/_history/1"]
    assert found["reason"] == [{"text": "typing error"}]
    assert found["activity"]["coding"][0]["code"] == "UPDATE"
    assert found["id"] != of(plain)["id"]


def test_prv_01_a_withdrawal_is_a_nullification():
    stamp = Stamp(STAMP.recorded, 2, "entered-in-error", reason="x", activity="nullify")
    assert of(code(move(150), stamp=stamp))["activity"]["coding"][0]["code"] == "NULLIFY"
