"""The oracles bite: each planted fault is caught, and a good bundle is left alone."""

from __future__ import annotations

import copy
import re
from pathlib import Path

import pytest
from tests.oracles.complaint import Complaint
from tests.oracles.faults import FAULTS, NoPlaceError
from tests.oracles.judge import ORACLES
from tests.oracles.judge import judge as run_judge
from tests.oracles.sample import Good, good_bundles

pytestmark = pytest.mark.usefixtures("fhir_definitions")


@pytest.fixture(scope="module")
def good(shared_dir: Path) -> list[Good]:
    return good_bundles(shared_dir)


_UNTOUCHED: dict[tuple[str, str], list[Complaint]] = {}


def untouched(base: Good, oracle: str) -> list[Complaint]:
    """Return what an oracle says about a good bundle: nothing, or the planted ones prove little."""
    key = (base.name, oracle)
    if key not in _UNTOUCHED:
        _UNTOUCHED[key] = run_judge(base.bundle, base.book, (oracle,))
    return _UNTOUCHED[key]


def planted(
    name: str, good: list[Good], oracles: tuple[str, ...] = tuple(ORACLES)
) -> list[Complaint] | None:
    """Return what the fault adds to the complaints about the first good bundle it fits, or None."""
    for base in good:
        bundle = copy.deepcopy(base.bundle)
        try:
            FAULTS[name](bundle, base.book)
        except NoPlaceError:
            continue
        assert bundle != base.bundle, "the fault changed nothing"
        before = [c for name in oracles for c in untouched(base, name)]
        return [c for c in run_judge(bundle, base.book, oracles) if c not in before]
    return None


def rule_named_by(name: str) -> str:
    """Return the key of the rule that a fault is named after, or an empty string."""
    words = re.match(r"(msk loinc ext|msk [a-z]+ \d|[a-z]{3} \d+)\b", name)
    return words[0].replace(" ", "-") if words else ""


@pytest.mark.parametrize("oracle", sorted(ORACLES))
def test_obs_19_good_bundles_are_clean(oracle: str, good: list[Good]) -> None:
    for base in good:
        before = copy.deepcopy(base.bundle)
        assert run_judge(base.bundle, base.book, (oracle,)) == [], base.name
        assert base.bundle == before, "an oracle changed what it judged"


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_obs_19_planted_fault_is_caught(name: str, good: list[Good]) -> None:
    found = planted(name, good)
    assert found is not None, "no good bundle has a place for this fault"
    assert found, "no oracle noticed"
    rule = rule_named_by(name)
    assert not rule or any(rule in c.message for c in found), f"{rule} itself did not notice"


@pytest.mark.parametrize("oracle", sorted(ORACLES))
def test_obs_19_every_oracle_catches_something(oracle: str, good: list[Good]) -> None:
    caught = (planted(name, good, (oracle,)) for name in FAULTS)
    assert any(caught), f"{oracle} noticed none of {len(FAULTS)} faults: it is dead"


def test_obs_19_there_are_enough_different_faults() -> None:
    assert len(FAULTS) >= 25
