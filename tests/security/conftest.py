"""A service with registered clients."""

from __future__ import annotations

import pytest
from tests.api.serving import raw_example
from tests.security.logins import Guarded


@pytest.fixture
def guarded(tmp_path):
    with Guarded(tmp_path) as service:
        yield service


@pytest.fixture
def stored(guarded):
    """The receipt of an exam that the app has posted."""
    headers = {**guarded.as_client(), "Content-Type": "application/json"}
    answer = guarded.ask("POST", "/exams", content=raw_example("stiff-shoulder"), headers=headers)
    assert answer.status_code == 201, answer.text
    return answer.json()
