"""A store on a file of its own."""

from __future__ import annotations

import pytest
from tests.store.exams import opened


@pytest.fixture
def database(tmp_path):
    return tmp_path / "exams.sqlite3"


@pytest.fixture
def store(database):
    made = opened(database)
    yield made
    made.close()
