"""The application with nothing in it, and with one exam in it."""

from __future__ import annotations

import pytest
from tests.api.serving import Serving, raw_example


@pytest.fixture
def service(tmp_path):
    with Serving(tmp_path / "test.sqlite3") as serving:
        yield serving


@pytest.fixture
def stored(service):
    """The receipt of an exam that was just stored."""
    answer = service.post("/exams", raw_example("stiff-shoulder"))
    assert answer.status_code == 201, answer.text
    return answer.json()


@pytest.fixture
def draft(service):
    answer = service.post("/exams", raw_example("draft"))
    assert answer.status_code == 201, answer.text
    return answer.json()
