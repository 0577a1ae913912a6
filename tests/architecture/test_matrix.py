"""Every row of the conformance matrix has a test that carries its id, or a word in the README."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import NamedTuple

import pytest
from tests.architecture.rules import ROOT

# an area is held as soon as it is named here
AREAS = (
    "Discovery",
    "Content negotiation",
    "Exam intake",
    "Write interactions",
    "Versioning and history",
    "Transaction and batch",
    "Search and paging",
    "Errors",
    "Bundles",
    "Observation content",
    "Coding tables",
    "Corrections",
    "Provenance",
    "Security and SMART",
    "Audit trail",
    "Bulk export",
    "Documents and IHE",
    "Forms and analytics",
    "Operations",
)
AWAITED = ("Push delivery", "HL7 v2 fallback")
# what should be and is not, with the words that say so in the README
NOT_SUPPORTED = {
    "DOC-01": "Delivery to a hospital's server",
    "OBS-17": "no `meta.profile` names them",
    "SEC-09": "scopes with a query",
}
TEST = re.compile(r"^ *(?:async )?def (test_\w+)", re.MULTILINE)


class Row(NamedTuple):
    """One requirement."""

    id: str
    area: str
    priority: str


@pytest.fixture(scope="module")
def matrix(shared_dir) -> tuple[Row, ...]:
    with (shared_dir / "standards/conformance_matrix.csv").open(encoding="utf-8") as file:
        return tuple(Row(r["id"], r["area"], r["priority"]) for r in csv.DictReader(file))


@pytest.fixture(scope="module")
def carried() -> dict[str, Path]:
    """Every id that the name of a test carries, with a file of such a test."""
    found = {}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for name in TEST.findall(path.read_text(encoding="utf-8")):
            found |= dict.fromkeys(ids(name), path)
    return found


def ids(name: str) -> list[str]:
    """Return the ids in the name of a test: PRV-01 and OBS-17 of test_prv_01_obs_17_and_more."""
    numbered = re.findall(r"(?<=_)([a-z][a-z0-9]{2})_(\d{2})(?=_|$)", name)
    return [f"{letters.upper()}-{number}" for letters, number in numbered]


def untested(rows: tuple[Row, ...], carried: dict[str, Path], area: str) -> list[str]:
    """Return the rows of an area, beyond rows aside, that nothing answers for."""
    return [
        row.id
        for row in rows
        if row.area == area
        and row.id not in carried
        and (row.priority == "must" or (row.priority == "should" and row.id not in NOT_SUPPORTED))
    ]


def test_a_row_without_a_test_is_seen():
    rows = (
        Row("AAA-01", "Area", "must"),
        Row("AAA-02", "Area", "should"),
        Row("AAA-03", "Area", "beyond"),
        Row("DOC-01", "Area", "should"),
        Row("BBB-01", "Another", "must"),
    )
    assert untested(rows, {}, "Area") == ["AAA-01", "AAA-02"]
    assert untested(rows, {"AAA-01": Path()}, "Area") == ["AAA-02"]
    assert untested((Row("DOC-01", "Area", "must"),), {}, "Area") == ["DOC-01"]
    assert ids("test_aaa_01_hv2_03_both_of_them_in_2026_11") == ["AAA-01", "HV2-03"]


@pytest.mark.parametrize("area", AREAS)
def test_every_row_of_an_area_has_a_test_or_is_not_supported(matrix, carried, area):
    assert untested(matrix, carried, area) == []


def test_every_area_is_held_or_awaited(matrix):
    assert {row.area for row in matrix} == {*AREAS, *AWAITED}


def test_no_test_carries_an_id_that_is_no_row(matrix, carried):
    rows = {row.id for row in matrix}
    families = {name[:3] for name in rows}
    assert {i: str(p) for i, p in carried.items() if i[:3] in families and i not in rows} == {}


@pytest.mark.parametrize("row", NOT_SUPPORTED)
def test_what_is_not_supported_is_said_in_the_readme_and_has_no_test(carried, row):
    words = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    assert re.search(rf"[Nn]ot supported.*{NOT_SUPPORTED[row]}", words)
    assert row not in carried
