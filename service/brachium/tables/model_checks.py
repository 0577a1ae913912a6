"""Checks of mappings/model and mappings/reference: words resolve, nothing measured lacks limits."""

from __future__ import annotations

from collections import Counter
from itertools import product
from typing import TYPE_CHECKING

from brachium.tables.concepts import PARTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from decimal import Decimal

    from brachium.tables.gather import Draft, Tables
    from brachium.tables.rows import Limit, Range

MEASURES = ("angle", "end", "grade", "distance")
MODES = ("active", "passive")
# which dimension a measure is entered in
DIMENSIONS = {"angle": "angle", "end": "angle", "distance": "length", "force": "force"}
# every (kind, measure) of a finding, which needs exactly one default method
METHOD_USES = (
    ("inspection", ""),
    ("palpation", ""),
    ("part", ""),
    ("calculated", ""),
    ("motion", "angle"),
    ("motion", "end"),
    ("motion", "grade"),
    ("motion", "distance"),
    ("strength", "grade"),
    ("strength", "force"),
)
OLDEST = 120


def faults(draft: Draft) -> Iterator[str]:
    """Yield every fault of the model and the reference values."""
    yield from _joints(draft)
    yield from _motions(draft)
    yield from _sites(draft)
    yield from _strength(draft)
    yield from _parts(draft.tables)
    yield from _limits(draft)
    yield from _units(draft)
    yield from _methods(draft.tables)
    yield from _reference(draft)
    yield from _needed_limits(draft.tables)
    yield from _published(draft)


def _unknown(place: str, what: str, words: Iterable[str], known: Iterable[str]) -> Iterator[str]:
    for word in words:
        if word not in known:
            yield f"{place}: {what} {word!r} is not in the tables"


def _joints(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for name in ("joints", "digits"):
        for one in draft.reads[name]:
            yield from _unknown(one.place, "structure", [one.row.structure], tables.structures)
    for one in draft.reads["joints"]:
        yield from _unknown(one.place, "digit", one.row.digits, tables.digits)


def _motions(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["motions"]:
        row, place = one.row, one.place
        yield from _unknown(place, "joint", [row.joint], tables.joints)
        yield from _unknown(place, "measure", [row.measure], MEASURES)
        yield from _unknown(place, "mode", row.modes, MODES)
        yield from _unknown(place, "digit", row.digits, tables.digits)
        yield from _scale_or_units(draft, place, row.measure, row.scale, row.units)
        arms = [option for kind, option in tables.options if kind == "arm-position"]
        yield from _unknown(place, "arm position", row.arm_positions, arms)
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
        yield from _unknown(place, "scale", [scale], tables.scales)
        if units:
            yield f"{place}: a grade has no units"
        return
    if scale:
        yield f"{place}: only a grade has a scale"
    if not units:
        yield f"{place}: no unit"
    yield from _unknown(place, "unit", units, tables.units)
    for unit in units:
        known = tables.units.get(unit)
        if known and (known.dimension != DIMENSIONS.get(measure) or not known.entered):
            yield f"{place}: unit {unit!r} is not entered for {measure}"


def _sites(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["sites"]:
        row, place = one.row, one.place
        yield from _unknown(place, "joint", [row.joint], tables.joints)
        if row.structure:
            yield from _unknown(place, "structure", [row.structure], tables.structures)
        elif not row.digits:
            yield f"{place}: without digits a site needs a structure"
        yield from _unknown(place, "digit", row.digits, tables.digits)
        signs = [sign for part, sign in tables.signs if part == row.part]
        yield from _unknown(place, f"sign of {row.part}", row.signs, signs)
        if not row.signs:
            yield f"{place}: no sign"
        if row.joint in tables.joints:
            own = tables.joints[row.joint].digits
            if own and not set(row.digits) <= set(own):
                yield f"{place}: has digits that the joint has not"
    for one in draft.reads["signs"]:
        if one.row.rated and one.row.paired:
            yield f"{one.place}: a paired sign is not rated"


def _strength(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["strength"]:
        row, place = one.row, one.place
        yield from _unknown(place, "joint", [row.joint], tables.joints)
        yield from _unknown(place, "measure", [row.measure], ("grade", "force"))
        yield from _unknown(place, "digit", row.digits, tables.digits)
        yield from _scale_or_units(draft, place, row.measure, row.scale, row.units)
        motions = [motion for joint, motion in tables.motions if joint == row.joint]
        yield from _unknown(place, "motion of the joint", row.moves, motions)


def _parts(tables: Tables) -> Iterator[str]:
    have = {(joint, part) for joint, part, _ in tables.sites}
    have |= {(joint, "motion") for joint, _ in tables.motions}
    have |= {(joint, "strength") for joint, _ in tables.strength}
    for joint in tables.joints:
        for part in PARTS:
            if (joint, part) not in have:
                yield f"model: {joint} has no {part}"


def _limits(draft: Draft) -> Iterator[str]:
    for one in draft.reads["limits"]:
        row, place = one.row, one.place
        yield from _limit_words(draft.tables, row, place)
        if row.refuse_above <= 0:
            yield f"{place}: refuses everything above {row.refuse_above}"
        if row.warn_above is not None and not 0 <= row.warn_above <= row.refuse_above:
            yield f"{place}: warn_above {row.warn_above} is not between 0 and refuse_above"
        if row.age_from >= row.age_below:
            yield f"{place}: age_from is not below age_below"


def _limit_words(tables: Tables, row: Limit, place: str) -> Iterator[str]:
    key = (row.joint, row.item)
    motion = tables.motions.get(key)
    if motion is None and key not in tables.strength:
        yield f"{place}: {row.item!r} is no motion or strength test of {row.joint!r}"
    yield from _unknown(place, "unit", [row.unit], tables.units)
    if row.digit:
        yield from _unknown(place, "digit", [row.digit], tables.digits)
    if row.sex not in ("", "male", "female"):
        yield f"{place}: sex {row.sex!r}"
    if motion is not None:
        wanted = ("short", "beyond") if motion.measure == "end" else ("",)
        if row.direction not in wanted:
            yield f"{place}: direction {row.direction!r} does not fit measure {motion.measure}"
        if row.arm_position and row.arm_position not in motion.arm_positions:
            yield f"{place}: arm position {row.arm_position!r} does not belong to the motion"


def _units(draft: Draft) -> Iterator[str]:
    for one in draft.reads["units"]:
        base = draft.tables.units.get(one.row.base)
        if base is None or base.dimension != one.row.dimension or base.factor != 1:
            yield f"{one.place}: base {one.row.base!r} is no base unit of {one.row.dimension}"
        if one.row.factor <= 0:
            yield f"{one.place}: factor {one.row.factor} is not above 0"


def _methods(tables: Tables) -> Iterator[str]:
    defaults: Counter[tuple[str, str]] = Counter()
    for row in tables.methods.values():
        for kind in row.kinds:
            for measure in row.measures or ("",):
                if (kind, measure) not in METHOD_USES:
                    yield f"model/methods.csv: {row.method} fits no finding ({kind} {measure})"
                defaults[kind, measure] += row.default
    for use in METHOD_USES:
        if defaults[use] != 1:
            yield f"model/methods.csv: {defaults[use]} defaults for {' '.join(use).strip()}, not 1"


def _reference(draft: Draft) -> Iterator[str]:
    tables = draft.tables
    for one in draft.reads["ranges"]:
        row, place = one.row, one.place
        motion = tables.motions.get((row.joint, row.motion))
        if motion is None or motion.measure not in ("angle", "end"):
            yield f"{place}: {row.joint} {row.motion} is no motion in degrees"
        elif row.arm_position and row.arm_position not in motion.arm_positions:
            yield f"{place}: arm position {row.arm_position!r} does not belong to the motion"
        if not row.age_from <= row.age_to <= OLDEST:
            yield f"{place}: ages {row.age_from} to {row.age_to}"
    for one in draft.reads["errors"]:
        yield from _unknown(one.place, "joint", [one.row.joint], tables.joints)
        if one.row.value <= 0:
            yield f"{one.place}: value {one.row.value} is not above 0"


def _needed_limits(tables: Tables) -> Iterator[str]:
    for row in tables.motions.values():
        if row.measure == "grade" or row.joint not in tables.joints:
            continue
        digits = row.digits or tables.joints[row.joint].digits or ("",)
        directions = ("short", "beyond") if row.measure == "end" else ("",)
        arms = row.arm_positions or ("",)
        limits = tables.limits.get((row.joint, row.motion), ())
        for direction, arm, digit in product(directions, arms, digits):
            fits = [
                limit
                for limit in limits
                if limit.direction == direction
                and limit.arm_position in ("", arm)
                and limit.digit in ("", digit)
            ]
            yield from _ages(f"{row.joint} {row.motion} {direction} {arm} {digit}", fits)
    for test in tables.strength.values():
        if test.measure == "force":
            limits = tables.limits.get((test.joint, test.test), ())
            yield from _ages(f"{test.joint} {test.test}", limits)


def _ages(what: str, limits: Iterable[Limit]) -> Iterator[str]:
    """Any sex of any age needs a limit, so rows without sex must cover all ages."""
    any_sex = [limit for limit in limits if not limit.sex]
    for age in range(OLDEST + 1):
        if not any(limit.age_from <= age < limit.age_below for limit in any_sex):
            yield f"model/limits.csv: no limit for {' '.join(what.split())} at age {age}"
            return


def _published(draft: Draft) -> Iterator[str]:
    """A limit below a published value that somebody has read would fire on healthy people."""
    for one in draft.reads["ranges"]:
        if one.row.evidence == "memory":
            continue
        for limit in draft.tables.limits.get((one.row.joint, one.row.motion), ()):
            if _meets(limit, one.row) and limit.warn_above is not None:
                measured = _magnitude(limit, one.row)
                if measured > limit.warn_above:
                    yield f"{one.place}: {measured} is above the warning of {limit.warn_above}"


def _meets(limit: Limit, published: Range) -> bool:
    return (
        limit.arm_position in ("", published.arm_position)
        and (published.sex == "any" or limit.sex in ("", published.sex))
        and limit.age_from <= published.age_to
        and published.age_from < limit.age_below
    )


def _magnitude(limit: Limit, published: Range) -> Decimal:
    return -published.value if limit.direction == "beyond" else published.value
