"""A store on a file of its own."""

from __future__ import annotations

import pytest

from brachium.store.sqlite import SqliteStore


@pytest.fixture
def database(tmp_path):
    return tmp_path / "exams.sqlite3"


@pytest.fixture
def store(database):
    opened = SqliteStore(database)
    yield opened
    opened.close()
