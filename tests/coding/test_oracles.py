"""What is coded passes every oracle, for every concept of the tables and every option."""

from __future__ import annotations

import pytest
from tests.coding.coded import Stamp, code, code_exam, tables
from tests.exam.builders import move
from tests.oracles.judge import FAST

from brachium.coding.sample import sample


@pytest.mark.parametrize("changes", [{}, {"snomed": False}, {"side": "site"}, {"side": "code"}])
def test_msk_rules_and_structure_hold_for_every_concept(judge, changes):
    assert judge(code_exam(sample(tables()), **changes).bundle, oracles=FAST) == []


@pytest.mark.parametrize("status", ["preliminary", "corrected", "entered-in-error"])
def test_msk_rules_and_invariants_hold_in_every_status(judge, status):
    stamp = Stamp("2026-03-02T09:31:07.412Z", 1, status, reason="because")
    absent = move(motion="extension", absent={"reason": "not-tested", "because": "pain"})
    bundle = code(move(150), move(140, side="left"), absent, stamp=stamp).bundle
    assert judge(bundle) == []
