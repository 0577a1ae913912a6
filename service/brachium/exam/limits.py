"""Limits of single values: what is queried, what is refused, and what no value can be.

The limits are rows of model/limits.csv and proposals of this project (about the mean plus four
standard deviations of the widest published group); every message names the row's source.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from brachium.exam.cells import in_base
from brachium.exam.findings import Converted, Motion, Quantity, Sign, Strength
from brachium.exam.forms import quantities
from brachium.exam.numbers import written
from brachium.exam.rule import NOTHING, OWN, SIGN_KINDS, Case, Check, Found, Founds, Rule
from brachium.problems import Severity

if TYPE_CHECKING:
    from brachium.tables.rows import Limit

LOWEST_ANGLE, HIGHEST_ANGLE = -60, 220
_OLDEST = 149
_DIRECTION = {"short-of-straight": "short", "beyond-straight": "beyond"}


def limits_for(case: Case, finding: Motion | Strength) -> tuple[Limit, ...]:
    """Return the rows that apply: one, or several when age or sex leave a choice.

    Rows for the arm position, digit and sex go before general ones.
    """
    item = finding.motion if isinstance(finding, Motion) else finding.test
    arm = finding.arm_position if isinstance(finding, Motion) else None
    end = finding.end if isinstance(finding, Motion) else None
    person = case.person
    key = (finding.joint, item, end, arm, finding.digit, person.sex, person.ages)
    rows = case.memory.limits.get(key)
    if rows is None:
        rows = _select(case, key)
        case.memory.limits[key] = rows
    return rows


def _select(
    case: Case,
    key: tuple[str, str, str | None, str | None, str | None, str | None, tuple[int, int] | None],
) -> tuple[Limit, ...]:
    joint, item, end, arm, digit, sex, ages = key
    direction = _DIRECTION.get(end or "", "")
    rows = [
        row
        for row in case.tables.limits.get((joint, item), ())
        if row.direction == direction
        and row.arm_position in ("", arm)
        and row.digit in ("", digit)
        and (row.sex in ("", sex) or sex not in ("male", "female"))
        and _age_fits(row, ages)
    ]
    if not rows:
        return ()
    known_sex = sex in ("male", "female")

    def closeness(row: Limit) -> tuple[bool, bool, bool]:
        return (row.arm_position != "", row.digit != "", known_sex and row.sex != "")

    best = max(closeness(row) for row in rows)
    return tuple(row for row in rows if closeness(row) == best)


def _age_fits(row: Limit, ages: tuple[int, int] | None) -> bool:
    if ages is None:
        return True
    youngest, oldest = (min(age, _OLDEST) for age in ages)
    return row.age_from <= oldest and youngest < row.age_below


def _in_unit(value: Quantity, unit: str, case: Case) -> Decimal | None:
    if value.unit == unit:
        return value.value
    mine, other = case.tables.units.get(value.unit), case.tables.units.get(unit)
    if mine is None or other is None or mine.base != other.base:
        return None
    return value.value * mine.factor / other.factor


def _source(row: Limit, case: Case) -> str:
    return f"{row.source} ({row.evidence}), tables {case.tables.edition}"


def check_refused(case: Case, finding: Motion | Strength) -> Founds:
    """No value above the refusal limit (EXM-08)."""
    rows = limits_for(case, finding)
    if not rows:
        return NOTHING
    row = max(rows, key=lambda limit: limit.refuse_above)
    found: list[Found] = []
    for pointer, quantity in quantities(finding):
        value = _in_unit(quantity, row.unit, case)
        if value is not None and value > row.refuse_above:
            message = _above(quantity, row.refuse_above, row.unit, "no value is taken")
            remedy = f"Check the value and the unit.{_other_unit(case, quantity, rows)}"
            found.append(Found(f"{pointer}/value", message, remedy, _source(row, case)))
    return found


def check_queried(case: Case, finding: Motion | Strength) -> Founds:
    """A value above the query limit is taken and queried (EXM-08)."""
    rows = limits_for(case, finding)
    if not rows or any(row.warn_above is None for row in rows):
        return NOTHING
    row = max(rows, key=lambda limit: limit.warn_above or Decimal(0))
    refused = max(limit.refuse_above for limit in rows)
    warn = row.warn_above
    found: list[Found] = []
    for pointer, quantity in quantities(finding):
        value = _in_unit(quantity, row.unit, case)
        if warn is not None and value is not None and warn < value <= refused:
            message = _above(quantity, warn, row.unit, "values are queried")
            remedy = f"Check it; it is kept as posted.{_other_unit(case, quantity, rows)}"
            found.append(Found(f"{pointer}/value", message, remedy, _source(row, case)))
    return found


def _above(quantity: Quantity, limit: Decimal, unit: str, effect: str) -> str:
    posted = f"{written(quantity.value)} {quantity.unit}"
    return f"{posted} is above {written(limit)} {unit}, the limit above which {effect}."


def _other_unit(case: Case, quantity: Quantity, rows: tuple[Limit, ...]) -> str:
    """Suggest the unit in which the same number would be ordinary, if there is one."""
    unit = case.tables.units.get(quantity.unit)
    if unit is None:
        return ""
    smaller = sorted(
        (u for u in case.tables.units.values() if u.base == unit.base and u.factor < unit.factor),
        key=lambda u: u.factor,
        reverse=True,
    )
    for other in smaller:
        value = quantity.value * other.factor
        limit = _warn_base(case, rows)
        if limit is not None and value <= limit:
            return (
                f" Was it read in {other.unit}? {written(quantity.value)} {other.unit} are "
                f"{written(round(value, 1))} {unit.base}."
            )
    return ""


def _warn_base(case: Case, rows: tuple[Limit, ...]) -> Decimal | None:
    limits = [
        in_base(Quantity(value=row.warn_above, unit=row.unit), case.tables)
        for row in rows
        if row.warn_above is not None
    ]
    known = [limit for limit in limits if limit is not None]
    return max(known) if known else None


def check_angle_range(case: Case, finding: Motion) -> Founds:  # noqa: ARG001
    """No angle of a joint lies outside -60 to 220 degrees."""
    angle = finding.angle
    if angle is None or angle.unit != "deg" or LOWEST_ANGLE <= angle.value <= HIGHEST_ANGLE:
        return NOTHING
    message = f"{written(angle.value)} deg is outside {LOWEST_ANGLE} to {HIGHEST_ANGLE} deg."
    return (Found("/angle/value", message),)


def check_half_degrees(case: Case, finding: Motion) -> Founds:  # noqa: ARG001
    """Hand instruments are read to whole or half degrees."""
    found: list[Found] = []
    for pointer, quantity in (("/angle", finding.angle), ("/magnitude", finding.magnitude)):
        if quantity is None or quantity.unit != "deg" or isinstance(quantity, Converted):
            continue
        value = quantity.value
        if value != value.to_integral_value() and (value * 2) != (value * 2).to_integral_value():
            message = f"{written(value)} deg is finer than half a degree."
            found.append(Found(f"{pointer}/value", message))
    return found


def check_below_neutral(case: Case, finding: Motion) -> Founds:  # noqa: ARG001
    """An angle below zero says that the motion did not reach the neutral position."""
    angle = finding.angle
    if angle is None or angle.value >= 0 or angle.value < LOWEST_ANGLE:
        return NOTHING
    message = f"{written(angle.value)} {angle.unit}: the motion ends short of the neutral position."
    return (Found("/angle/value", message),)


def check_negative(case: Case, finding: Motion | Strength) -> Founds:  # noqa: ARG001
    """Magnitudes, distances and forces are never below zero."""
    return [
        Found(f"{pointer}/value", f"{written(quantity.value)} {quantity.unit} is below zero.")
        for pointer, quantity in quantities(finding)
        if quantity.value < 0 and pointer != "/angle"
    ]


def check_magnitude_zero(case: Case, finding: Motion) -> Founds:  # noqa: ARG001
    """Zero short of or beyond straight is straight."""
    magnitude = finding.magnitude
    if magnitude is None or magnitude.value != 0 or finding.end in (None, "straight"):
        return NOTHING
    return (Found("/magnitude/value", "0 short of or beyond straight is straight."),)


def check_severity_present(case: Case, finding: Sign) -> Founds:  # noqa: ARG001
    """A severity above zero belongs to a sign that is present, zero to one that is not."""
    if finding.severity is None or finding.present is None:
        return NOTHING
    if (finding.severity > 0) is finding.present:
        return NOTHING
    stated = "present" if finding.present else "not present"
    message = f"Severity {written(finding.severity)} beside a sign that is {stated}."
    return (Found("/severity", message),)


def check_zero_force(case: Case, finding: Strength) -> Founds:  # noqa: ARG001
    """No force at all needs a reason: paralysis, pain, cannot hold."""
    if finding.limited_by:
        return NOTHING
    return [
        Found(f"/trials/{index}/value", "A force of 0 is recorded without a reason.")
        for index, trial in enumerate(finding.trials)
        if trial.value == 0
    ]


_MOTION = ("motion",)
_MEASURED = ("motion", "strength")
_CHECK = "Check the value."
_REASON = "A value outside is a slip of the hand, a wrong unit or a wrong field."


def _rule(
    code: str,
    title: str,
    severity: Severity,
    check: Check,
    kinds: tuple[str, ...],
    reason: str,
    remedy: str,
) -> Rule:
    return Rule(
        code,
        title,
        severity,
        "business-rule",
        OWN,
        reason,
        remedy,
        "finding",
        check,
        kinds,
    )


_ERROR, _WARNING = Severity.ERROR, Severity.WARNING

RULES: tuple[Rule, ...] = (
    _rule(
        "limit-refused",
        "Value outside the human range",
        _ERROR,
        check_refused,
        _MEASURED,
        _REASON,
        _CHECK,
    ),
    _rule(
        "limit-queried",
        "Unusual value",
        _WARNING,
        check_queried,
        _MEASURED,
        "A real but rare value and a slip look alike; somebody should look.",
        _CHECK,
    ),
    _rule(
        "angle-range",
        "Angle that no joint has",
        _ERROR,
        check_angle_range,
        _MOTION,
        _REASON,
        _CHECK,
    ),
    _rule(
        "angle-finer-than-read",
        "Angle finer than an instrument is read",
        _WARNING,
        check_half_degrees,
        _MOTION,
        "Goniometers and inclinometers are read to whole or half degrees; finer numbers come from"
        " a calculation.",
        "Post the number that was read.",
    ),
    _rule(
        "angle-below-neutral",
        "Motion that does not reach neutral",
        _WARNING,
        check_below_neutral,
        _MOTION,
        "It happens in contractures, and it happens when a sign is typed by mistake.",
        "Check the sign; it is kept as posted.",
    ),
    _rule(
        "value-negative",
        "Value below zero",
        _ERROR,
        check_negative,
        _MEASURED,
        "Nothing is measured below zero here.",
        "Check the value.",
    ),
    _rule(
        "magnitude-zero",
        "Zero short of or beyond straight",
        _ERROR,
        check_magnitude_zero,
        _MOTION,
        "Two ways to say straight would be counted as two findings.",
        'Say "straight" and leave "magnitude" out.',
    ),
    _rule(
        "severity-contradicts-present",
        "Severity and presence contradict",
        _ERROR,
        check_severity_present,
        SIGN_KINDS,
        "One of the two is wrong.",
        'Correct "present" or "severity".',
    ),
    _rule(
        "force-zero",
        "No force without a reason",
        _ERROR,
        check_zero_force,
        ("strength",),
        "0 can mean paralysis, pain or an empty field; only the examiner knows.",
        'Name the reason in "limitedBy", or use "absent" when it was not tested.',
    ),
)
