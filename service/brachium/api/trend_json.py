"""A trend as JSON of our own; numbers keep their digits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import orjson

from brachium.coding.jsontext import fragment

if TYPE_CHECKING:
    from brachium.api.documents import Addresses
    from brachium.assess.change import Change
    from brachium.assess.series import Point, Series
    from brachium.assess.visits import Taken, Visit
    from brachium.trend import Course, LeftOut

Json = dict[str, Any]


def course(found: Course, addresses: Addresses, edition: str) -> bytes:
    """Return the whole answer. Findings are named by exam and key, as in the exams themselves."""
    return orjson.dumps(
        {
            "patient": found.patient,
            "edition": edition,
            "exams": [_visit(one, addresses) for one in found.trend.visits],
            "leftOut": [_left_out(one, addresses) for one in found.left_out],
            "notUnderstood": [
                {"exam": exam, "finding": finding} for exam, finding in found.trend.unread
            ],
            "series": [_series(one) for one in found.trend.series],
        },
        default=fragment,
    )


def _visit(one: Visit, addresses: Addresses) -> Json:
    return {
        "id": one.exam,
        "version": one.version,
        "status": one.status,
        "preliminary": one.provisional,
        "effective": one.effective,
        "link": addresses.exam(one.exam),
    }


def _left_out(one: LeftOut, addresses: Addresses) -> Json:
    exam = one.exam
    return {
        "id": exam.id,
        "version": exam.version,
        "status": exam.status.value,
        "why": one.why,
        "link": addresses.exam(exam.id),
    }


def _series(one: Series) -> Json:
    matter, way = one.matter, one.way
    head: Json = {
        "name": one.name,
        "kind": matter.kind,
        "joint": matter.joint,
        "digit": matter.digit,
        matter.kind if matter.kind == "motion" else "test": matter.item,
        "side": matter.side,
        "mode": way.mode,
        "armPosition": way.arm_position,
        "method": way.method,
        "position": way.position,
    }
    head = {name: value for name, value in head.items() if value}
    return {
        **head,
        "unit": one.unit,
        "points": [_point(point) for point in one.points],
        "gaps": [_gap(gap) for gap in one.gaps],
    }


def _gap(one: Taken) -> Json:
    return {"exam": one.visit.exam, "finding": one.finding, "said": one.said}


def _point(one: Point) -> Json:
    found = {**_gap(one.taken), "value": one.taken.value}
    if one.taken.trials:
        found["trials"] = one.taken.trials
    for name, change in (
        ("sincePrevious", one.since_previous),
        ("sinceFirst", one.since_first),
        ("otherwiseBefore", one.unlike),
    ):
        if change is not None:
            found[name] = _change(change)
    return found


def _change(one: Change) -> Json:
    rule, _, version = one.rule.partition("/")
    found: Json = {
        "verdict": one.verdict,
        "sentence": one.statement,
        "provisional": one.provisional,
        "rule": rule,
        "ruleVersion": version,
        "sources": one.sources,
        "evidence": one.evidence,
        "used": [_used(one.before), _used(one.now)],
    }
    if one.delta is not None:
        found["delta"] = one.delta
    if one.error is not None:
        found["detectable"] = one.error
    if one.why:
        found["why"] = one.why
    return found


def _used(taken: Taken) -> Json:
    return {"exam": taken.visit.exam, "finding": taken.finding, "value": taken.said}
