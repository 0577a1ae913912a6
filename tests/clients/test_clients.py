"""Programs written with client libraries that nobody here wrote count what the database holds.

fhirpy, fhirclient and fhir-pyrate from the Python package index; fhir-kit-client and fhirclient
from npm. They are used as they are, each in a script of its own.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.api.serving import Serving, example
from tests.cli.test_serve import Running
from tests.clients.npm import NpmUnavailableError, modules
from tests.clients.seeding import EXAMPLES, EXAMS, seed
from tests.clients.truth import Truth
from tests.conftest import _missing

HERE = Path(__file__).parent
PYTHON = ("with_fhirpy.py", "with_fhirclient.py", "with_pyrate.py")
NODE = ("with_fhir_kit_client.mjs", "with_fhirclient.cjs")


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clients")
    seed(folder / "served.sqlite3")
    service = Running(folder)
    yield service
    service.stop()


@pytest.fixture(scope="module")
def truth(running):
    found = Truth(running.database)
    assert found.count("DiagnosticReport") == EXAMS
    return found


def script(command: list[str], folder: Path = HERE) -> dict[str, int]:
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)
    assert done.returncode == 0, done.stderr[-2000:] + done.stdout[-2000:]
    return json.loads(done.stdout.splitlines()[-1])


def compared(found: dict[str, int], truth: Truth) -> None:
    expected = truth.told()
    assert set(found) <= set(expected)
    assert found == {name: expected[name] for name in found}
    assert len(found) >= len(expected) - 2


@pytest.fixture
def node(tmp_path):
    """Run a script with the libraries from npm."""

    def run(name: str, *arguments: str) -> dict[str, int]:
        try:
            libraries = modules()
        except NpmUnavailableError as error:
            _missing(f"npm: {error}")
            raise
        # node looks for libraries beside the script
        if not (tmp_path / "node_modules").exists():
            (tmp_path / "node_modules").symlink_to(libraries, target_is_directory=True)
        shutil.copy(HERE / name, tmp_path / name)
        return script(["node", name, *arguments], tmp_path)

    return run


def test_src_12_clients_count_what_is_stored(running, truth, node):
    # one test for all, so that the database is filled once
    asked = json.dumps(truth.asked())
    for name in PYTHON:
        compared(script([sys.executable, str(HERE / name), running.base, asked]), truth)
    for name in NODE:
        compared(node(name, running.base, asked), truth)


@pytest.fixture
def exam(tmp_path):
    """What other systems send: the transaction of an exam, and a form that somebody filled in."""

    def written(value: str) -> tuple[str, str]:
        with Serving(tmp_path / f"{value}.sqlite3") as sender:
            content = {
                **example("recovering-shoulder-1"),
                "identifier": {"system": "urn:sender", "value": value},
            }
            identity = sender.post("/exams", content).json()["id"]
            bundle = sender.get(f"/exams/{identity}/bundle?type=transaction").json()
        response = json.loads((EXAMPLES / "responses/elbow-after-fracture.json").read_text())
        response["identifier"]["value"] = f"form of {value}"
        files = tmp_path / f"{value}-bundle.json", tmp_path / f"{value}-response.json"
        for file, resource in zip(files, (bundle, response), strict=True):
            file.write_text(json.dumps(resource))
        return str(files[0]), str(files[1])

    return written


@pytest.fixture
def empty(tmp_path):
    service = Running(tmp_path)
    yield service
    service.stop()


def stored(running, found, exam):
    """Compare what a client says that it wrote and read again with what is stored now."""
    bundle = json.loads(Path(exam[0]).read_text())
    truth = Truth(running.database)
    # people that are known already stay as they are
    assert set(found["statuses"]) <= {"200", "201"}
    assert set(found["written"]) <= {*truth.versions}
    own = [one for one in bundle["entry"] if one["resource"]["resourceType"] == "Observation"]
    assert found["observations"] == len(own) > 0
    assert found["statuses"].count("201") > len(own)
    response = json.loads(Path(exam[1]).read_text())
    (form,) = [
        one
        for one in truth.resources["QuestionnaireResponse"]
        if one["identifier"] == response["identifier"]
    ]
    assert found["form"] == form["id"]
    assert found["items"] == json.loads(json.dumps(form["item"])) == response["item"]


def test_txn_01_wrt_01_fhirpy_writes_an_exam_and_a_form(empty, exam):
    files = exam("PY-1")
    command = [sys.executable, str(HERE / "writing_with_fhirpy.py"), empty.base, *files]
    stored(empty, script(command), files)


def test_txn_01_wrt_01_fhir_kit_client_writes_an_exam_and_a_form(empty, exam, node):
    files = exam("KIT-1")
    stored(empty, node("writing_with_fhir_kit_client.mjs", empty.base, *files), files)
