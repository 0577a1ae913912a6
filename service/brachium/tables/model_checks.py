"""Checks of what can be recorded: every word resolves, and every joint has its four parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.tables.concepts import PARTS

if TYPE_CHECKING:
    from collections.abc import Container, Iterable, Iterator

    from brachium.tables.gather import Draft, Tables
    from brachium.tables.rows import MotionRow, Site

MEASURES = ("angle", "end", "grade", "distance")
MODES = ("active", "passive")
# which dimension a measure is entered in
DIMENSIONS = {"angle": "angle", "end": "angle", "distance": "length", "force": "force"}


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of joints, digits, motions, sites, signs and strength tests."""
    yield from _joints(draft)
    yield from _motions(draft)
    yield from _sites(draft)
    yield from _signs(draft)
    yield from _strength(draft)
    yield from _parts(draft.tables)


def unknown(place: str, what: str, words: Iterable[str], known: Container[str]) -> Iterator[str]:
    """Yield a fault for each word that is not among the known ones."""
    for word in words:
        if word not in known:
            yield f"{place}: {what} {word!r} is not in the tables"


def _joints(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for name in ("joints", "digits"):
        for one in draft.reads[name]:
            yield from unknown(one.place, "structure", [one.row.structure], tables.structures)
    for one in draft.reads["joints"]:
        yield from unknown(one.place, "digit", one.row.digits, tables.digits)


def _motions(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    arms = [option for kind, option in tables.options if kind == "arm-position"]
    for one in draft.reads["motions"]:
        row, place = one.row, one.place
        yield from unknown(place, "joint", [row.joint], tables.joints)
        yield from unknown(place, "measure", [row.measure], MEASURES)
        yield from unknown(place, "mode", row.modes, MODES)
        yield from unknown(place, "digit", row.digits, tables.digits)
        yield from unknown(place, "arm position", row.arm_positions, arms)
        yield from _scale_or_units(draft, place, row.measure, row.scale, row.units)
        yield from _motion_sense(tables, row, place)


def _motion_sense(tables: Tables, row: MotionRow, place: str) -> Iterator[str]:
    if not row.modes:
        yield f"{place}: no mode"
    if row.digits and row.joint in tables.joints and tables.joints[row.joint].digits:
        yield f"{place}: digits belong to the joint, which has its own"
    if row.opposite:
        other = tables.motions.get((row.joint, row.opposite))
        if other is None or other.opposite != row.motion:
            yield f"{place}: opposite {row.opposite!r} does not name this motion back"


def _scale_or_units(
    draft: Draft, place: str, measure: str, scale: str, units: tuple[str, ...]
) -> Iterator[str]:
    tables = draft.tables
    if measure == "grade":
        yield from unknown(place, "scale", [scale], tables.scales)
        if units:
            yield f"{place}: a grade has no units"
        return
    if scale:
        yield f"{place}: only a grade has a scale"
    if not units:
        yield f"{place}: no unit"
    yield from unknown(place, "unit", units, tables.units)
    for unit in units:
        known = tables.units.get(unit)
        if known and (known.dimension != DIMENSIONS.get(measure) or not known.entered):
            yield f"{place}: unit {unit!r} is not entered for {measure}"


def _sites(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["sites"]:
        row, place = one.row, one.place
        signs = [sign for part, sign in tables.signs if part == row.part]
        yield from unknown(place, "joint", [row.joint], tables.joints)
        yield from unknown(place, "digit", row.digits, tables.digits)
        yield from unknown(place, f"sign of {row.part}", row.signs, signs)
        if row.structure:
            yield from unknown(place, "structure", [row.structure], tables.structures)
        yield from _site_sense(tables, row, place)


def _site_sense(tables: Tables, row: Site, place: str) -> Iterator[str]:
    if not row.signs:
        yield f"{place}: no sign"
    if not row.structure and not row.digits:
        yield f"{place}: without digits a site needs a structure"
    own = tables.joints[row.joint].digits if row.joint in tables.joints else ()
    if own and set(row.digits) != set(own):
        yield f"{place}: has other digits than its joint"
    other = "palpation" if row.part == "inspection" else "inspection"
    twin = tables.sites.get((row.joint, other, row.site))
    if twin and (twin.label, twin.structure) != (row.label, row.structure):
        yield f"{place}: {row.site!r} is another place in {other}"


def _signs(draft: Draft) -> Iterator[str]:
    for one in draft.reads["signs"]:
        row, place = one.row, one.place
        yield from unknown(place, "part", [row.part], ("inspection", "palpation"))
        if row.rated and row.paired:
            yield f"{place}: a paired sign is not rated"
        if "{site}" not in row.phrase:
            yield f"{place}: the phrase does not say where {{site}} goes"


def _strength(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["strength"]:
        row, place = one.row, one.place
        yield from unknown(place, "joint", [row.joint], tables.joints)
        yield from unknown(place, "measure", [row.measure], ("grade", "force"))
        yield from unknown(place, "digit", row.digits, tables.digits)
        yield from _scale_or_units(draft, place, row.measure, row.scale, row.units)
        motions = [motion for joint, motion in tables.motions if joint == row.joint]
        yield from unknown(place, "motion of the joint", row.moves, motions)


def _parts(tables: Tables) -> Iterator[str]:
    have = {(joint, part) for joint, part, _ in tables.sites}
    have |= {(joint, "motion") for joint, _ in tables.motions}
    have |= {(joint, "strength") for joint, _ in tables.strength}
    for joint in tables.joints:
        for part in PARTS:
            if (joint, part) not in have:
                yield f"model: {joint} has no {part}"
