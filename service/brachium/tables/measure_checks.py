"""Checks of limits, units, methods and published values: nothing measured goes without them."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise, product
from typing import TYPE_CHECKING

from brachium.tables.model_checks import unknown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from decimal import Decimal

    from brachium.tables.gather import Draft, Tables
    from brachium.tables.rows import Limit, MeasurementError, Range

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
    """Yield every fault of limits, units, methods, reference values and errors."""
    yield from _limits(draft)
    yield from _needed_limits(draft.tables)
    yield from _units(draft)
    yield from _methods(draft.tables)
    yield from _reference(draft)
    yield from _published(draft)


def _limits(draft: Draft) -> Iterator[str]:
    yield from _overlaps(draft)
    for one in draft.reads["limits"]:
        row, place = one.row, one.place
        yield from _limit_words(draft.tables, row, place)
        if row.refuse_above <= 0:
            yield f"{place}: refuses everything above {row.refuse_above}"
        if row.warn_above is not None and not 0 <= row.warn_above <= row.refuse_above:
            yield f"{place}: warn_above {row.warn_above} is not between 0 and refuse_above"
        if row.age_from >= row.age_below:
            yield f"{place}: age_from is not below age_below"


def _overlaps(draft: Draft) -> Iterator[str]:
    """Two rows with the same selectors must not serve the same age."""
    # sorted by selectors, then age_from: only neighbours can overlap
    for before, one in pairwise(draft.reads["limits"]):
        a, b = before.row, one.row
        same = _selectors(a) == _selectors(b)
        if same and b.age_from < a.age_below and a.age_from != b.age_from:
            yield f"{one.place}: overlaps in age with {before.place}"


def _selectors(row: Limit) -> tuple[str, ...]:
    return row.joint, row.item, row.direction, row.arm_position, row.digit, row.sex


def _limit_unit(tables: Tables, row: Limit, place: str) -> Iterator[str]:
    item = tables.motions.get((row.joint, row.item)) or tables.strength.get((row.joint, row.item))
    unit = tables.units.get(row.unit)
    if item is None or unit is None:
        return
    known = [tables.units[word] for word in item.units if word in tables.units]
    if unit.dimension not in [one.dimension for one in known]:
        yield f"{place}: unit {row.unit!r} does not measure {row.item}"


def _limit_words(tables: Tables, row: Limit, place: str) -> Iterator[str]:
    key = (row.joint, row.item)
    motion = tables.motions.get(key)
    if motion is None and key not in tables.strength:
        yield f"{place}: {row.item!r} is no motion or strength test of {row.joint!r}"
    yield from unknown(place, "unit", [row.unit], tables.units)
    yield from _limit_unit(tables, row, place)
    if row.digit:
        yield from unknown(place, "digit", [row.digit], tables.digits)
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
        yield from _error(tables, one.row, one.place)


def _error(tables: Tables, row: MeasurementError, place: str) -> Iterator[str]:
    if row.joint != "any":
        yield from unknown(place, "joint", [row.joint], tables.joints)
    motion = tables.motions.get((row.joint, row.motion))
    if row.motion and (motion is None or motion.measure not in ("angle", "end")):
        yield f"{place}: {row.joint} {row.motion} is no motion in degrees"
    yield from unknown(place, "method", row.methods, tables.methods)
    if any(tables.methods[word].default for word in row.methods if word in tables.methods):
        yield f"{place}: a method that names no instrument has no error of its own"
    if row.situation == "different-methods" and len(row.methods) != 2:
        yield f"{place}: different methods are two"
    if row.value is None and not row.note:
        yield f"{place}: neither a value nor a note that says why there is none"
    if row.value is not None and row.value <= 0:
        yield f"{place}: value {row.value} is not above 0"
    if row.value is not None and row.situation in ("against-image", "any"):
        yield f"{place}: a value needs a situation of raters or methods"


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
