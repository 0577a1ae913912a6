"""A service with a few exams, and its exports."""

from __future__ import annotations

import pytest
from tests.api.serving import Serving, raw_example
from tests.bulk.jobs import Exports, post
from tests.security.logins import Guarded

EXAMS = ("stiff-shoulder", "elbow-after-fracture", "draft")


@pytest.fixture(scope="package")
def library(tmp_path_factory):
    """The exports of a service with three exams, which tests do not change."""
    with Serving(tmp_path_factory.mktemp("library") / "test.sqlite3") as serving:
        serving.receipts = [post(serving, raw_example(name)) for name in EXAMS]
        yield Exports(serving)


@pytest.fixture
def exports(library):
    """The same, without a job that runs."""
    yield library
    library.carried_out()


@pytest.fixture
def clinic(library):
    """The service whose exports these are."""
    return library.serving


@pytest.fixture
def fresh(tmp_path):
    """The exports of a service of its own."""
    with Serving(tmp_path / "test.sqlite3") as serving:
        serving.receipts = [post(serving, raw_example(name)) for name in EXAMS]
        yield Exports(serving)


@pytest.fixture
def guarded(tmp_path):
    """A service with clients, on a clock that tests move."""
    with Guarded(tmp_path) as service:
        headers = service.as_client()
        service.receipts = [post(service, raw_example(name), **headers) for name in EXAMS]
        yield service


@pytest.fixture
def app(guarded):
    """The exports of a client that may see everything."""
    return Exports(guarded, **guarded.as_client("app", "system/*.rs"))
