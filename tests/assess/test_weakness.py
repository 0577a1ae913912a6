"""Which nerve or root accounts for weak tests. Supply as the collection's table of tests has it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from tests.assess.motions import tables
from tests.assess.strengths import account, force, grade, patterns, strength

from brachium.assess.derived import Derived
from brachium.assess.weakness import Account, Pattern

KEYS = "key-muscle-root"
WRIST_DROP = (
    grade("wrist", "extension", "1"),
    grade("finger-mcp", "extension", "1", digit="middle"),
    grade("thumb-cmc", "radial-abduction", "2"),
)
TRICEPS = ("elbow", "extension")
HAND_OF_THE_MEDIAN = (
    grade("thumb-cmc", "palmar-abduction", "2"),
    grade("thumb-cmc", "opposition", "3"),
)


def first(pattern: Pattern, scheme: str = "peripheral-nerve") -> list[str]:
    return [one.supplier for one in pattern.accounts if one.rank == 1 and one.scheme == scheme]


def keys(some) -> set[str]:
    return {used.leaf for used in some}


def test_a_weak_triceps_makes_it_the_whole_radial_nerve():
    pattern = patterns([*WRIST_DROP, grade(*TRICEPS, "2")])["right"]
    assert first(pattern) == ["radial"]
    radial = account(pattern, "radial")
    assert radial.fits
    assert len(radial.explained) == 4
    branch = account(pattern, "posterior-interosseous")
    assert keys(branch.unexplained) == {"elbow-extension-right"}
    assert "Consistent with radial nerve (explains 4 of 4)" in pattern.statement


def test_a_strong_triceps_speaks_against_the_whole_nerve_and_for_the_branch():
    pattern = patterns([*WRIST_DROP, grade(*TRICEPS, "5")])["right"]
    assert first(pattern) == ["posterior-interosseous"]
    radial = account(pattern, "radial")
    assert not radial.fits
    assert keys(radial.contradicting) == {"elbow-extension-right"}
    assert (radial.rank, account(pattern, "posterior-interosseous").rank) == (2, 1)


def test_a_test_with_more_than_one_nerve_speaks_only_partly_against_one():
    pattern = patterns([*HAND_OF_THE_MEDIAN, grade("wrist", "flexion", "5")])["right"]
    median = account(pattern, "median")
    assert (median.contradicting, keys(median.partly)) == ((), {"wrist-flexion-right"})
    # the branch serves the hand alone, so nothing is left over at all
    assert first(pattern) == ["median-recurrent"]


def test_anterior_interosseous_pattern():
    weak = [
        grade("thumb-ip", "flexion", "1"),
        grade("finger-dip", "flexion", "1", digit="index"),
        grade("finger-dip", "flexion", "5", digit="ring"),
        grade("thumb-cmc", "palmar-abduction", "5"),
    ]
    pattern = patterns(weak)["right"]
    assert first(pattern) == ["anterior-interosseous"]
    assert keys(account(pattern, "median").contradicting) == {"thumb-cmc-palmar-abduction-right"}


def test_the_same_motion_of_another_finger_has_another_nerve():
    pattern = patterns([grade("finger-dip", "flexion", "2", digit="ring")])["right"]
    assert first(pattern) == ["ulnar"]
    assert "ulnar-deep" not in {one.supplier for one in pattern.accounts}


def test_a_muscle_that_only_helps_explains_but_never_contradicts():
    pattern = patterns([*WRIST_DROP, grade("elbow", "flexion", "5"), grade(*TRICEPS, "2")])
    radial = account(pattern["right"], "radial")
    assert (radial.contradicting, keys(radial.partly)) == ((), {"elbow-flexion-right"})
    weak = patterns([grade("elbow", "flexion", "3")])["right"]
    assert set(first(weak)) == {"musculocutaneous", "radial"}
    strong = patterns([grade("elbow", "flexion", "5"), grade("forearm", "supination", "3")])
    assert keys(account(strong["right"], "musculocutaneous").contradicting) == {
        "elbow-flexion-right"
    }


def test_no_single_nerve_is_said_and_not_chosen():
    weak = [
        grade("shoulder", "abduction", "2"),
        grade("finger-mcp", "abduction", "2", digit="index"),
    ]
    pattern = patterns(weak)["right"]
    assert not any(one.fits for one in pattern.accounts if one.kind == "nerve")
    assert "Consistent with no single peripheral nerve on the list; nearest:" in pattern.statement


def test_a_key_root():
    findings = [
        grade("elbow", "flexion", "5"),
        grade("wrist", "extension", "5"),
        grade("elbow", "extension", "3"),
        grade("finger-dip", "flexion", "5", digit="middle"),
        grade("finger-mcp", "abduction", "5", digit="little"),
    ]
    pattern = patterns(findings)["right"]
    assert first(pattern, KEYS) == ["c7"]
    assert account(pattern, "c7").fits
    assert "Roots by the key muscles alone" in pattern.statement
    assert "root C7 (explains 1 of 1)" in pattern.statement


def test_roots_speak_of_the_key_muscles_alone_unless_memory_is_allowed():
    weak = [grade("shoulder", "external-rotation", "3"), grade("elbow", "flexion", "4")]
    seen = patterns(weak)["right"]
    roots = [one for one in seen.accounts if one.kind == "root"]
    assert [(one.supplier, one.scheme) for one in roots] == [("c5", KEYS)]
    assert keys(roots[0].explained) == {"elbow-flexion-right"}
    assert "memory" not in {one.evidence for one in seen.accounts}
    told = patterns(weak, memory=True)["right"]
    assert len(account(told, "c5", "mrc-root").explained) == 2
    assert account(told, "c5", "mrc-root").evidence == "memory"
    # lists of different sources are ranked apart
    assert {one.scheme for one in told.accounts if one.kind == "root"} == {KEYS, "mrc-root"}
    assert "Root lists from memory took part" in told.statement


def test_where_sources_differ_is_shown():
    pattern = patterns([grade("elbow", "flexion", "4")])["right"]
    assert [note.test for note in pattern.notes] == ["elbow flexion"]
    assert "C5 alone" in pattern.notes[0].text


@pytest.mark.parametrize("limit", ["pain", "swelling", "immobilisation", "understanding"])
def test_a_grade_limited_by_pain_says_nothing_of_nerves(limit):
    findings = [*WRIST_DROP, grade("shoulder", "abduction", "3", limitedBy=[limit])]
    pattern = patterns(findings)["right"]
    assert "shoulder-abduction-right" not in keys(pattern.weak)
    assert "shoulder abduction (3, limited by" in pattern.vague[0]
    assert "Left out: shoulder abduction" in pattern.statement
    alone = patterns([grade("shoulder", "abduction", "3", limitedBy=[limit])])
    assert alone == {}


def test_a_grade_limited_by_weakness_is_weak():
    assert patterns([grade("shoulder", "abduction", "3", limitedBy=["weakness"])])


def test_what_was_not_tested_is_left_out_and_said():
    absent = strength("elbow", "extension", absent={"reason": "not-tested", "because": "pain"})
    pattern = patterns([*WRIST_DROP, absent])["right"]
    assert pattern.vague == ("right elbow extension: not tested (pain)",)
    assert set(first(pattern)) == {"radial", "posterior-interosseous"}


def test_two_grades_of_one_test_are_none():
    twice = [grade(*TRICEPS, "5"), grade(*TRICEPS, "2", key="again")]
    pattern = patterns([*WRIST_DROP, *twice])["right"]
    assert "recorded 2 times" in pattern.vague[0]


def test_a_weak_test_on_no_list_is_said():
    pattern = patterns([grade("thumb-mcp", "flexion", "3")])["right"]
    assert keys(pattern.unlisted) == {"thumb-mcp-flexion-right"}
    assert pattern.accounts == ()
    assert "On no list: thumb MCP joint flexion 3" in pattern.statement


def test_each_side_has_its_own_pattern():
    left = [grade(*TRICEPS, "3", "left")]
    found = patterns([*WRIST_DROP, *left])
    assert set(found) == {"right", "left"}
    assert keys(found["left"].weak) == {"elbow-extension-left"}
    assert "neither serves as normal" in found["right"].statement


def test_nothing_weak_gives_no_pattern():
    assert patterns([grade("elbow", "flexion", "5"), force(5, 5, 5)]) == {}


def test_a_pattern_never_speaks_of_a_diagnosis():
    pattern = patterns([*WRIST_DROP, grade(*TRICEPS, "2")])["right"]
    assert not isinstance(pattern, Derived)
    assert pattern.rule == "weakness-pattern/1.0"
    assert "not a diagnosis" in pattern.statement
    for word in ("palsy", "lesion", "injury", "neuropathy", "radiculopathy"):
        assert word not in pattern.statement.lower()
    assert pattern.sources
    assert set(pattern.sources) <= set(tables().sources)


def test_every_candidate_accounts_for_every_listed_test_once():
    findings = [
        grade(joint, test, str(number % 6), digit=(row.digits or (None,))[-1])
        for number, ((joint, test), row) in enumerate(tables().strength.items())
        if row.measure == "grade"
    ]
    for memory in (False, True):
        pattern = patterns(findings, memory=memory)["right"]
        lists = {}
        for one in pattern.accounts:
            parts = (one.explained, one.unexplained)
            lists.setdefault(one.scheme, set()).add(frozenset(keys(sum(parts, ()))))
            assert one.explained
            assert not keys(one.explained) & keys(one.unexplained)
            assert not keys(one.contradicting) & keys(one.partly)
        assert all(len(some) == 1 for some in lists.values())
        ranks = [(a.scheme, a.rank) for a in pattern.accounts]
        assert ranks == sorted(ranks, key=lambda pair: (pair[0] != "peripheral-nerve", *pair))
        assert isinstance(pattern.accounts[0], Account)
        assert Decimal(pattern.accounts[0].rank) == 1
