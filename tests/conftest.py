"""Fixtures for every test: the shared data, HL7's definitions and the judge."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.oracles.definitions import DefinitionsUnavailableError, package_folder

from brachium import wiring

if TYPE_CHECKING:
    from tests.oracles.complaint import Complaint

    from brachium.tables.load import Tables

CHECKOUT = Path(__file__).resolve().parents[1]


# what takes a minute each: begun first, so that no core waits for it at the end
LONG = ("real_data", "crash", "clients", "fuzz", "test_walking.py")


def pytest_configure() -> None:
    """Read the tables of the project once: that takes longer than most tests, and they are frozen.

    Tests with tables or overlays of their own read them as the service does.
    """
    read = wiring.load
    kept = cache(read)

    def load(directory: Path | None = None, overlay: Path | None = None) -> Tables:
        return kept() if directory is None and overlay is None else read(directory, overlay)

    wiring.load = load


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the long tests; the order of all others stays."""
    items.sort(key=lambda item: {item.path.parent.name, item.path.name}.isdisjoint(LONG))


def _missing(what: str) -> None:
    """Fail where the suite must be whole, and say loudly what was left out elsewhere."""
    if os.environ.get("CI"):
        pytest.fail(what, pytrace=False)
    pytest.skip(f"NOT TESTED: {what}")


@pytest.fixture(scope="session")
def shared_dir() -> Path:
    """Return the shared data: BRACHIUM_SHARED, else ``shared`` beside the checkout."""
    named = os.environ.get("BRACHIUM_SHARED")
    folder = Path(named) if named else CHECKOUT.parent / "shared"
    if not folder.is_dir():
        _missing(f"no shared data at {folder}; set BRACHIUM_SHARED to the folder that holds it")
    return folder


@pytest.fixture(scope="session")
def fhir_definitions() -> Path:
    """Return the folder of HL7's FHIR 4.0.1 definitions, downloaded once per user."""
    try:
        return package_folder()
    except DefinitionsUnavailableError as error:
        _missing(f"HL7's FHIR 4.0.1 definitions: {error}")
        raise


@pytest.fixture(scope="session")
def judge(fhir_definitions: Path) -> Callable[..., list[Complaint]]:  # noqa: ARG001
    """Return the judge of all oracles: ``judge(bundle)`` gives the list of complaints."""
    # imported here: the libraries of the oracles take a second that most tests need not pay
    from tests.oracles.judge import judge as ask

    return ask
