"""Strength tests, short to write, for the tests of what is worked out from them."""

from __future__ import annotations

from typing import Any

from tests.assess.motions import quantity, tables

from brachium.assess.derived import Derived
from brachium.assess.from_strength import FromStrength, from_strength
from brachium.assess.options import AssessOptions
from brachium.assess.tested import Whose
from brachium.assess.weakness import Account, Pattern
from brachium.exam.findings import Finding, Strength
from brachium.exam.leaves import leaves_of

MAN, WOMAN = Whose("male", 47, 47, "right"), Whose("female", 47, 47, "right")


def strength(joint: str, test: str, side: str = "right", **more: Any) -> Strength:
    key = "-".join(word for word in (joint, test, more.get("digit"), side) if word)
    head = {"key": key, "kind": "strength", "joint": joint, "test": test, "side": side}
    return Strength.model_validate(head | more)


def grade(joint: str, test: str, value: str, side: str = "right", **more: Any) -> Strength:
    return strength(joint, test, side, grade=value, **more)


def force(*trials: Any, test: str = "grip", side: str = "right", **more: Any) -> Strength:
    unit = more.pop("unit", "kg")
    values = [quantity(value, unit) for value in trials]
    return strength(more.pop("joint", "hand"), test, side, trials=values, **more)


def results(findings: list[Finding], whose: Whose, *, memory: bool) -> FromStrength:
    found = leaves_of(enumerate(findings), tables())
    return from_strength(found, whose, tables(), AssessOptions(memory_references=memory))


def worked(
    findings: list[Finding], whose: Whose = MAN, *, memory: bool = False
) -> tuple[Derived, ...]:
    return results(findings, whose, memory=memory).computed


def patterns(findings: list[Finding], *, memory: bool = False) -> dict[str, Pattern]:
    return {one.side: one for one in results(findings, MAN, memory=memory).patterns}


def account(pattern: Pattern, supplier: str, scheme: str | None = None) -> Account:
    some = [
        one for one in pattern.accounts if one.supplier == supplier and scheme in (None, one.scheme)
    ]
    assert len(some) == 1, [(one.scheme, one.supplier) for one in pattern.accounts]
    return some[0]


def names(found: tuple[Derived, ...]) -> set[str]:
    return {one.name for one in found}
