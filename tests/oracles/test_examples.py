"""Every example exam comes out as a bundle that no oracle complains about."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.oracles.judge import ORACLES, judge
from tests.oracles.sample import made_by_the_service

EXAMPLES = sorted((Path(__file__).resolve().parents[2] / "examples").glob("*.json"))
KINDS = ("collection", "transaction", "document")
# slow, and blind to what makes the kinds differ: once per example is enough
ONCE = "pyrofile"

pytestmark = pytest.mark.usefixtures("fhir_definitions")


def test_obs_19_there_are_examples() -> None:
    assert len(EXAMPLES) >= 8


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_obs_19_bnd_01_bnd_02_txn_09_example_is_clean(path: Path, kind: str) -> None:
    made = made_by_the_service(kind, path.read_bytes())
    assert made.bundle["type"] == kind
    asked = tuple(name for name in ORACLES if name != ONCE or kind == KINDS[0])
    assert judge(made.bundle, made.book, asked) == []
