"""What is coded with the tables in force is held against the models before it is served."""

from __future__ import annotations

import socket

import pytest

from brachium.cli import main, offline, serve

FAULT = "Observation/x: a value stands where none may stand"


@pytest.fixture
def broken(monkeypatch):
    """The models find something wrong with what is coded."""
    for module in (serve, offline):
        monkeypatch.setattr(module, "prove", lambda _tables, _options: [FAULT])


@pytest.mark.usefixtures("broken")
def test_nothing_is_served_that_has_not_the_shape_of_fhir(monkeypatch, tmp_path, capsys):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    monkeypatch.setenv("BRACHIUM_DATABASE", str(tmp_path / "x.sqlite3"))
    assert main(["serve", "--port", str(port)]) == 2
    told = capsys.readouterr()
    assert FAULT in told.err
    assert "serves" not in told.out


@pytest.mark.usefixtures("broken")
def test_tables_check_looks_at_what_is_coded_too(capsys):
    assert main(["tables", "check"]) == 1
    assert capsys.readouterr().out.splitlines() == [FAULT, "1 faults"]
