"""Findings per side."""

from __future__ import annotations

from tests.exam.builders import exam, move, read, sign, tables

from brachium.exam.leaves import leaves


def test_exm_10_both_becomes_left_and_right_except_for_comparisons():
    comparison = sign(
        False, kind="inspection", site="clavicle", sign="contour-asymmetry", side="both"
    )
    examined = read(exam(move(150, side="both"), comparison, move(90, motion="flexion")))
    assert examined.exam is not None
    found = [(one.key, one.side, one.index) for one in leaves(examined.exam, tables())]
    assert found == [
        ("f0/left", "left", 0),
        ("f0/right", "right", 0),
        ("f1", "both", 1),
        ("f2", "right", 2),
    ]


def test_exm_15_not_examined_stays_a_leaf():
    examined = read(exam(move(absent={"reason": "not-examined"})))
    assert examined.exam is not None
    assert [one.key for one in leaves(examined.exam, tables())] == ["f0"]
