"""Checks of protocols and prompts: every word resolves, and every trigger can come true."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.tables.concepts import PARTS
from brachium.tables.model_checks import MODES, unknown
from brachium.tables.protocol_rows import (
    AT_LEAST,
    BELOW,
    EACH,
    EITHER,
    HOLDS,
    LIMITED_BY,
    NEVER,
    SCOPES,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from brachium.tables.gather import Draft, Tables
    from brachium.tables.protocol_rows import PromptRow, Protocol, Trigger

KINDS = (*PARTS, "part")


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of protocols, prompts and triggers."""
    labels: dict[str, str] = {}
    for one in draft.reads["protocols"]:
        yield from _protocol(draft.tables, one.row, one.place)
        if labels.setdefault(one.row.protocol, one.row.label) != one.row.label:
            yield f"{one.place}: {one.row.protocol} has another label before"
    for one in draft.reads["prompts"]:
        yield from _prompt(draft.tables, one.row, one.place)
    for one in draft.reads["triggers"]:
        yield from _trigger(draft.tables, one.row, one.place)


def _protocol(tables: Tables, row: Protocol, place: str) -> Iterator[str]:
    yield from unknown(place, "joint", [row.joint], tables.joints)
    yield from unknown(place, "part", [row.part], PARTS)
    yield from unknown(place, "sides", [row.sides], (EACH, EITHER))
    known = set(_items(tables, row.part, [row.joint]))
    yield from unknown(place, f"{row.part} of {row.joint}", row.items, known)
    joint = tables.joints.get(row.joint)
    if joint is None:
        return
    if joint.digits:
        yield from unknown(place, f"digit of {row.joint}", row.digits, joint.digits)
        return
    for item in row.items or ("",):
        digits = _item_digits(tables, row.part, row.joint, item)
        yield from unknown(place, f"digit of {row.joint} {item}", row.digits, digits)
        if item and digits and not row.digits:
            yield f"{place}: {item} is recorded by digit, so the row must say which"


def _item_digits(tables: Tables, part: str, joint: str, item: str) -> tuple[str, ...]:
    if part == "motion":
        motion = tables.motions.get((joint, item))
        return motion.digits if motion else ()
    if part == "strength":
        test = tables.strength.get((joint, item))
        return test.digits if test else ()
    site = tables.sites.get((joint, part, item))
    return site.digits if site else ()


def _items(tables: Tables, part: str, joints: Iterable[str]) -> Iterator[str]:
    """Yield what can be asked in a part of some joints: motions, tests or sites."""
    wanted = tuple(joints) or tuple(tables.joints)
    if part == "motion":
        yield from (motion for joint, motion in tables.motions if joint in wanted)
    elif part == "strength":
        yield from (test for joint, test in tables.strength if joint in wanted)
    else:
        yield from (site for joint, own, site in tables.sites if own == part and joint in wanted)


def _prompt(tables: Tables, row: PromptRow, place: str) -> Iterator[str]:
    yield from unknown(place, "scope", [row.scope], SCOPES)
    yield from unknown(place, "source", row.also, tables.sources)
    shown = row.prompt in tables.triggers
    if row.scope == NEVER:
        if shown or row.text or not row.needs:
            yield f"{place}: never shown, so it has a reason in needs, no text and no trigger"
    elif not shown or not row.text or row.needs:
        yield f"{place}: shown, so it has a text, triggers and nothing in needs"
    if row.text and "onsider" not in row.text:
        yield f"{place}: the text does not say consider"


def _trigger(tables: Tables, row: Trigger, place: str) -> Iterator[str]:
    yield from unknown(place, "prompt", [row.prompt], tables.prompts)
    yield from unknown(place, "joint", row.joints, tables.joints)
    if row.kind:
        yield from unknown(place, "kind", [row.kind], KINDS)
        yield from unknown(place, row.kind, row.items, set(_trigger_items(tables, row)))
    elif row.items:
        yield f"{place}: items need a kind"
    sites = {s for j, part, s in tables.sites if part == row.kind and j in (row.joints or (j,))}
    yield from unknown(place, "site", row.sites, sites)
    if row.mode:
        yield from unknown(place, "mode", [row.mode], MODES if row.kind == "motion" else ())
    yield from _holds(tables, row, place)


def _trigger_items(tables: Tables, row: Trigger) -> Iterable[str]:
    if row.kind == "part":
        return PARTS
    if row.kind in ("motion", "strength"):
        return _items(tables, row.kind, row.joints)
    return (sign for part, sign in tables.signs if part == row.kind)


def _holds(tables: Tables, row: Trigger, place: str) -> Iterator[str]:
    if not row.holds:
        yield f"{place}: nothing has to hold"
    for word in row.holds:
        if word.startswith(LIMITED_BY):
            limiter = word.removeprefix(LIMITED_BY)
            if ("limiter", limiter) not in tables.options:
                yield f"{place}: limiter {limiter!r} is not in the tables"
        elif word not in HOLDS:
            yield f"{place}: nobody knows when {word!r} holds"
        elif row.kind not in HOLDS[word]:
            yield f"{place}: {word!r} never holds for kind {row.kind!r}"
    counted = [word for word in row.holds if word in (BELOW, AT_LEAST)]
    if len(counted) != (row.number is not None):
        yield f"{place}: a number and one of {BELOW} and {AT_LEAST} need each other"
