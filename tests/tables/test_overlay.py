"""A site adds rows of its own; a new joint is rows and nothing else."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from brachium.problems import BrokenTables
from brachium.tables.load import load
from brachium.tables.source import TABLES, default_directory

HEAD = (
    "# {title}\n# edition: 1\n# date: 2026-11-25\n# licence: ours\n# reviewer: none\n# source: us\n"
)
OWN_CODES = {
    "sources.csv": ["CLINIC,Coding list of the clinic"],
    "codes/systems.csv": ["clinic,https://clinic.example.org/codes,2026,own,CLINIC"],
    "codes/codes.csv": ["clinic,EF-A,Elbow bending,active,high,true,CLINIC"],
    "codes/maps.csv": ["elbow-flexion-rom-active,,clinic,EF-A,equivalent,always,CLINIC"],
}
NEW_JOINT = {
    "codes/structures.csv": ["tail,Tail,,,,OWN_PROPOSAL"],
    "model/joints.csv": ["tail,Tail,tails,tail,,tail,900,OWN_PROPOSAL"],
    "model/motions.csv": [
        "tail,wag,Tail wag,wag,angle,,deg,active passive,,,,10,OWN_PROPOSAL",
    ],
    "model/limits.csv": ["tail,wag,,,,,0,150,90,120,deg,OWN_PROPOSAL,own"],
    "model/sites.csv": [
        "tail,inspection,tip,Tip of tail,tail,,bruising scar,10,OWN_PROPOSAL",
        "tail,palpation,tip,Tip of tail,tail,,tenderness,10,OWN_PROPOSAL",
    ],
    "model/strength.csv": ["tail,wag,Tail wag,wag,grade,mrc-grade,,,wag,10,OWN_PROPOSAL"],
}


def overlay(directory: Path, rows: dict[str, list[str]]) -> Path:
    for table in TABLES:
        if table.path in rows:
            header = next(
                line
                for line in (default_directory() / table.path).read_text("utf-8").split("\n")
                if not line.startswith("#")
            )
            file = directory / table.path
            file.parent.mkdir(parents=True, exist_ok=True)
            lines = [HEAD.format(title=table.name) + header, *rows[table.path]]
            file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return directory


def test_a_site_adds_its_own_codes(tmp_path):
    plain, more = load(), load(overlay=overlay(tmp_path, OWN_CODES))
    codes = [row.code for row in more.maps["elbow-flexion-rom-active"]]
    assert "EF-A" in codes
    assert len(codes) == len(plain.maps["elbow-flexion-rom-active"]) + 1
    assert plain.digest != more.digest
    assert plain.edition == more.edition


def test_a_new_joint_is_rows_alone(tmp_path):
    tables = load(overlay=overlay(tmp_path, NEW_JOINT))
    assert list(tables.joints)[-1] == "tail"
    assert tables.concepts["tail-wag-rom-active"].display == "Tail wag, active range of motion"
    assert tables.concepts["site-tail-tip"].display == "Tip of tail"
    assert tables.concepts["panel-tail"].display == "Examination of the tails"


@pytest.mark.parametrize("left_out", [path for path in NEW_JOINT if path != "codes/structures.csv"])
def test_half_a_joint_is_a_fault(tmp_path, left_out):
    rows = {path: some for path, some in NEW_JOINT.items() if path != left_out}
    with pytest.raises(BrokenTables) as stopped:
        load(overlay=overlay(tmp_path, rows))
    assert any("tail" in fault for fault in stopped.value.faults)


def test_an_overlay_cannot_replace_a_row(tmp_path):
    twice = {"sources.csv": ["AAOS,Somebody else"]}
    with pytest.raises(BrokenTables) as stopped:
        load(overlay=overlay(tmp_path, twice))
    assert any("more than once" in fault for fault in stopped.value.faults)


def test_faults_of_an_overlay_say_so(tmp_path):
    bad = {"model/digits.csv": ["toe,Toe,tail,last,OWN_PROPOSAL"]}
    with pytest.raises(BrokenTables) as stopped:
        load(overlay=overlay(tmp_path, bad))
    assert any(fault.startswith("overlay model/digits.csv:") for fault in stopped.value.faults)


def test_the_digest_follows_the_content(tmp_path):
    same = Path(shutil.copytree(default_directory(), tmp_path / "same"))
    assert load(same).digest == load().digest
    file = same / "sources.csv"
    file.write_text(file.read_text("utf-8").replace("Smith", "") + "ZZZ,More\n", encoding="utf-8")
    assert load(same).digest != load().digest
