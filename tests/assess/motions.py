"""Motions for the tests of what is worked out from them: short to write, checked by the shapes."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from typing import Any

from brachium.assess.derived import Derived
from brachium.assess.from_motions import from_motions
from brachium.assess.options import AssessOptions
from brachium.exam.findings import Motion
from brachium.exam.leaves import Leaf, leaves_of
from brachium.tables.load import Tables, load

Motions = list[Motion]


@cache
def tables() -> Tables:
    return load()


def quantity(value: Any, unit: str) -> dict[str, Any]:
    return {"value": value if isinstance(value, int) else Decimal(str(value)), "unit": unit}


def motion(joint: str, name: str, value: Any = None, **more: Any) -> Motion:
    """One motion, active and right unless said otherwise.

    A number is an angle; for an end of extension positive is short of straight; text is a grade.
    """
    unit = more.pop("unit", None)
    head = {"kind": "motion", "joint": joint, "motion": name, "side": "right", "mode": "active"}
    measure = tables().motions[joint, name].measure
    if value is None:
        pass
    elif measure == "end":
        word = "short-of-straight" if value > 0 else "beyond-straight"
        head["end"] = word if value else "straight"
        if value:
            head["magnitude"] = quantity(abs(value), unit or "deg")
    elif measure == "grade":
        head["grade"] = value
    else:
        name = "angle" if measure == "angle" else "distance"
        head[name] = quantity(value, unit or {"angle": "deg", "distance": "cm"}[measure])
    head.update(more)
    side = head["side"]
    key = "-".join(str(head.get(word, "")) for word in ("joint", "motion", "mode", "digit"))
    return Motion.model_validate({"key": f"{key}-{side}"[:60].strip("-"), **head})


def bend(joint: str, start: Any, end: Any, **more: Any) -> Motions:
    """Both ends of a joint that ends straight; the start is flexion-positive."""
    return [
        motion(joint, "extension", start, **more),
        motion(joint, "flexion", end, **more),
    ]


def finger(mcp: Any, pip: Any, dip: Any, digit: str = "middle", **more: Any) -> Motions:
    """Start and end of every joint of one finger."""
    joints = {"finger-mcp": mcp, "finger-pip": pip, "finger-dip": dip}
    return [
        one for joint, ends in joints.items() for one in bend(joint, *ends, digit=digit, **more)
    ]


def expanded(findings: Motions) -> tuple[Leaf, ...]:
    return leaves_of(enumerate(findings), tables())


def worked(findings: Motions, *, memory: bool = False) -> tuple[Derived, ...]:
    """Everything worked out from motions, without a judgement of single findings."""
    return from_motions(expanded(findings), {}, tables(), AssessOptions(memory_references=memory))


def only(found: tuple[Derived, ...], name: str, **what: str) -> Derived:
    """The one result with this name (and side, digit ...)."""
    some = [
        one
        for one in found
        if one.name == name and all(getattr(one, key) == value for key, value in what.items())
    ]
    assert len(some) == 1, [one.key for one in found]
    return some[0]


def graded(one: Derived) -> dict[str, str]:
    return {grading.scheme: grading.word for grading in one.gradings}
