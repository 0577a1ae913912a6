"""``brachium export``: the tables of the service without the service."""

from __future__ import annotations

import stat

import duckdb
import pytest
from tests.api.serving import Serving, raw_example

from brachium.cli.parser import main


@pytest.fixture
def database(tmp_path):
    path = tmp_path / "exams.sqlite3"
    with Serving(path) as serving:
        assert serving.post("/exams", raw_example("stiff-shoulder")).status_code == 201
        yield path, serving.get("/exams.csv").text


def test_sof_02_the_command_writes_what_the_service_answers(database, tmp_path):
    path, expected = database
    out = tmp_path / "findings.csv"
    arguments = ["export", "--view", "findings", "--database", str(path), "--out", str(out)]
    assert main(arguments) == 0
    assert out.read_bytes().decode() == expected
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    assert main([*arguments, "--format", "parquet"]) == 0
    assert duckdb.read_parquet(str(out)).fetchall()
    assert main([*arguments, "--since", "2999-01-01"]) == 0
    assert out.read_bytes().decode().splitlines() == expected.splitlines()[:1]
    assert [one.name for one in tmp_path.iterdir() if "unfinished" in one.name] == []


def test_standard_output_is_where_it_goes_otherwise(database, capfdbinary):
    path, expected = database
    assert main(["export", "--view", "findings", "--database", str(path)]) == 0
    assert capfdbinary.readouterr().out.decode() == expected


def test_an_export_that_cannot_be_made_leaves_nothing(database, tmp_path, capsys):
    path, _ = database
    out = tmp_path / "out.csv"
    missing = ["export", "--view", "findings", "--database", str(tmp_path / "none.sqlite3")]
    assert main([*missing, "--out", str(out)]) == 2
    assert "no such database" in capsys.readouterr().err
    assert not (tmp_path / "none.sqlite3").exists()
    unknown = ["export", "--view", "nothing", "--database", str(path), "--out", str(out)]
    assert main(unknown) == 2
    assert "findings" in capsys.readouterr().err
    nowhere = ["export", "--view", "findings", "--database", str(path)]
    assert main([*nowhere, "--out", str(tmp_path / "no" / "where.csv")]) == 2
    assert not out.exists()
    with pytest.raises(SystemExit):
        main([*nowhere, "--since", "yesterday"])


def test_the_audit_tells_of_an_export_before_it_leaves(database):
    path, _ = database
    arguments = ["export", "--view", "motion", "--database", str(path), "--to", "2026-05-01"]
    assert main(arguments) == 0
    with Serving(path) as serving:
        entry = serving.parts.store.audit()[-1].entry
        assert (entry.path, entry.query, entry.reason) == (
            "/views/motion",
            "to=2026-05-01",
            "export",
        )
        assert serving.get("/views/motion?from=2026").status_code == 200
        entry = serving.parts.store.audit()[-1].entry
        assert (entry.path, entry.query, entry.status) == ("/views/motion", "from=2026", 200)
        assert serving.get("/fhir/AuditEvent?_count=50").status_code == 200
