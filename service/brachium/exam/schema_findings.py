"""The schema of each kind of finding, one condition per row of the tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.exam.findings import MOST_LIMITERS, MOST_TRIALS
from brachium.exam.schema_parts import (
    KEY,
    NOTE,
    NOTHING,
    SIDE,
    Schema,
    closed,
    digit,
    maybe,
    result_or_absent,
    stated,
    when,
    words,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brachium.exam.rule import ModelOptions
    from brachium.tables.load import Tables
    from brachium.tables.rows import Joint, MotionRow, SignRow, Site, StrengthRow

_ABSENT: Schema = {"anyOf": [{"$ref": "#/$defs/absent"}, NOTHING]}
_EMPTY: Schema = {"type": "array", "maxItems": 0}
_MOTION_RESULTS = ("angle", "end", "magnitude", "grade", "distance")


def _shared(tables: Tables, kind: str) -> Schema:
    return {
        "key": KEY,
        "kind": {"const": kind},
        "joint": words(tables.joints),
        "side": SIDE,
        "digit": words(tables.digits, nullable=True),
        "absent": _ABSENT,
        "note": maybe(NOTE),
    }


def sign(tables: Tables, kind: str) -> Schema:
    """Return the schema of an inspection or palpation finding."""
    sites = [site for _, part, site in tables.sites if part == kind]
    signs = [name for part, name in tables.signs if part == kind]
    schema = closed(
        {
            **_shared(tables, kind),
            "site": words(sites),
            "sign": words(signs),
            "present": {"type": ["boolean", "null"]},
            "severity": {
                "type": ["number", "null"],
                "minimum": 0,
                "maximum": 10,
                "description": "0 to 10, for signs that are rated.",
            },
        },
        ("key", "kind", "joint", "side", "site", "sign"),
        f"Sign of {kind}",
    )
    conditions = [
        result_or_absent(stated("present"), ("present", "severity")),
        *_joint_words(tables, "site", ((j, s) for j, part, s in tables.sites if part == kind)),
        *(
            when({"joint": joint, "site": site}, _site(row, tables.joints[joint]))
            for (joint, part, site), row in tables.sites.items()
            if part == kind
        ),
        *(
            when({"sign": name}, _sign(row))
            for (part, name), row in tables.signs.items()
            if part == kind
        ),
    ]
    return {**schema, "allOf": conditions}


def _joint_words(
    tables: Tables, member: str, pairs: Iterable[tuple[str, str]]
) -> list[dict[str, Any]]:
    known: dict[str, list[str]] = {joint: [] for joint in tables.joints}
    for joint, word in pairs:
        known[joint].append(word)
    return [
        when({"joint": joint}, {"properties": {member: words(accepted)}} if accepted else _NEVER)
        for joint, accepted in known.items()
    ]


_NEVER: Schema = {"not": {}}


def _site(row: Site, joint: Joint) -> Schema:
    where = digit(row.digits or joint.digits)
    return {**where, "properties": {**where["properties"], "sign": words(row.signs)}}


def _sign(row: SignRow) -> Schema:
    properties: Schema = {}
    if row.paired:
        properties["side"] = {"const": "both"}
    if not row.rated:
        properties["severity"] = NOTHING
    return {"properties": properties}


def motion(tables: Tables, options: ModelOptions) -> Schema:
    """Return the schema of a motion finding."""
    quantity = _quantity(tables)
    schema = closed(
        {
            **_shared(tables, "motion"),
            "motion": words(name for _, name in tables.motions),
            "mode": {"enum": ["active", "passive"]},
            "angle": quantity,
            "end": words(("short-of-straight", "straight", "beyond-straight"), nullable=True),
            "magnitude": quantity,
            "grade": {"type": ["string", "null"]},
            "distance": quantity,
            "armPosition": words(_options(tables, "arm-position"), nullable=True),
            "method": words(methods_of(tables, "motion"), nullable=True),
            "position": words(_options(tables, "position"), nullable=True),
            "limitedBy": _limiters(tables),
        },
        ("key", "kind", "joint", "side", "motion", "mode"),
        "How far a joint moves",
    )
    conditions = [
        *_joint_words(tables, "motion", tables.motions),
        *(
            when({"joint": joint, "motion": name}, _motion(row, tables, options))
            for (joint, name), row in tables.motions.items()
        ),
    ]
    return {**schema, "allOf": conditions}


def _motion(row: MotionRow, tables: Tables, options: ModelOptions) -> Schema:
    where = digit(row.digits or tables.joints[row.joint].digits)
    arm: Schema = {"armPosition": words(row.arm_positions) if row.arm_positions else NOTHING}
    members = {
        **where["properties"],
        **arm,
        "mode": words(row.modes),
        "method": words(methods_of(tables, "motion", row.measure), nullable=True),
    }
    required = [*where.get("required", ()), *(("armPosition",) if row.arm_positions else ())]
    results = (*_MOTION_RESULTS, "limitedBy")
    return {
        "properties": members,
        "required": required,
        "allOf": [_either(_motion_result(row, tables, options), results)],
    }


def _either(result: Schema, members: Iterable[str]) -> Schema:
    """As result_or_absent, where lists stand empty instead of null."""
    schema = result_or_absent(result, members)
    without = schema["oneOf"][1]["allOf"][0]["properties"]
    for name in ("limitedBy", "trials"):
        if name in without:
            without[name] = _EMPTY
    return schema


def _motion_result(row: MotionRow, tables: Tables, options: ModelOptions) -> Schema:
    members = {"end", "magnitude"} if row.measure == "end" else {row.measure}
    others: Schema = {name: NOTHING for name in _MOTION_RESULTS if name not in members}
    unit = {"properties": {"unit": words(units_of(row.units, tables, options))}}
    if row.measure == "grade":
        grades = words(grades_of_scale(row.scale, tables, options))
        return {"properties": {**others, "grade": grades}, "required": ["grade"]}
    if row.measure == "end":
        return {
            "properties": {**others, **stated("end")["properties"]},
            "required": ["end"],
            "oneOf": [
                {"properties": {"end": {"const": "straight"}, "magnitude": NOTHING}},
                {
                    "properties": {
                        "end": words(("short-of-straight", "beyond-straight")),
                        "magnitude": {"allOf": [{"type": "object"}, unit, _ABOVE]},
                    },
                    "required": ["magnitude"],
                },
            ],
        }
    value = {"allOf": [{"type": "object"}, unit]}
    return {"properties": {**others, row.measure: value}, "required": [row.measure]}


_ABOVE: Schema = {"properties": {"value": {"exclusiveMinimum": 0}}}


def strength(tables: Tables, options: ModelOptions) -> Schema:
    """Return the schema of a strength finding."""
    trial = {**_quantity(tables), "type": "object"}
    schema = closed(
        {
            **_shared(tables, "strength"),
            "test": words(name for _, name in tables.strength),
            "grade": {"type": ["string", "null"]},
            "trials": {
                "type": "array",
                "items": trial,
                "maxItems": MOST_TRIALS,
                "description": "Every trial, in the order in which they were made.",
            },
            "method": words(methods_of(tables, "strength"), nullable=True),
            "position": words(_options(tables, "position"), nullable=True),
            "limitedBy": _limiters(tables),
        },
        ("key", "kind", "joint", "side", "test"),
        "How strong",
    )
    conditions = [
        *_joint_words(tables, "test", tables.strength),
        *(
            when({"joint": joint, "test": name}, _test(row, tables, options))
            for (joint, name), row in tables.strength.items()
        ),
    ]
    return {**schema, "allOf": conditions}


def _test(row: StrengthRow, tables: Tables, options: ModelOptions) -> Schema:
    where = digit(row.digits or tables.joints[row.joint].digits)
    method = words(methods_of(tables, "strength", row.measure), nullable=True)
    if row.measure == "grade":
        grades = words(grades_of_scale(row.scale, tables, options))
        result: Schema = {"properties": {"grade": grades, "trials": _EMPTY}, "required": ["grade"]}
    else:
        unit = words(units_of(row.units, tables, options))
        trials = {"minItems": 1, "items": {"properties": {"unit": unit, "value": {"minimum": 0}}}}
        result = {
            "properties": {"grade": NOTHING, "trials": trials, "side": words(("left", "right"))},
            "required": ["trials"],
        }
    return {
        **where,
        "properties": {**where["properties"], "method": method},
        "allOf": [_either(result, ("grade", "trials", "limitedBy"))],
    }


def part(tables: Tables) -> Schema:
    """Return the schema of a finding about a whole part of a joint."""
    pairs = [
        *((joint, "motion") for joint, _ in tables.motions),
        *((joint, "strength") for joint, _ in tables.strength),
        *((joint, name) for joint, name, _ in tables.sites),
    ]
    schema = closed(
        {
            **_shared(tables, "part"),
            "part": {"enum": ["inspection", "motion", "palpation", "strength"]},
            "outcome": words(("no-abnormality",), nullable=True),
        },
        ("key", "kind", "joint", "side", "part"),
        "A whole part of a joint at once",
    )
    conditions = [
        result_or_absent(stated("outcome"), ("outcome",)),
        *_joint_words(tables, "part", pairs),
        *(when({"joint": joint}, digit(row.digits)) for joint, row in tables.joints.items()),
    ]
    return {**schema, "allOf": conditions}


def _quantity(tables: Tables) -> Schema:
    schema = closed(
        {"value": {"type": "number"}, "unit": words(tables.units)},
        ("value", "unit"),
        "Value with its unit",
    )
    return maybe(schema)


def _options(tables: Tables, kind: str) -> list[str]:
    return [option for name, option in tables.options if name == kind]


def _limiters(tables: Tables) -> Schema:
    return {
        "type": "array",
        "items": words(_options(tables, "limiter")),
        "uniqueItems": True,
        "maxItems": MOST_LIMITERS,
        "description": "What limited the result.",
    }


def methods_of(tables: Tables, kind: str, measure: str = "") -> list[str]:
    """Return the methods that fit a kind of finding, and a measure when one is named."""
    return [
        row.method
        for row in tables.methods.values()
        if kind in row.kinds and (not measure or not row.measures or measure in row.measures)
    ]


def units_of(accepted: tuple[str, ...], tables: Tables, options: ModelOptions) -> list[str]:
    """Return the accepted units, with those that are converted when the options allow it."""
    if not options.convert_units:
        return list(accepted)
    bases = {tables.units[unit].base for unit in accepted}
    extra = [row.unit for row in tables.units.values() if not row.entered and row.base in bases]
    return [*accepted, *extra]


def grades_of_scale(scale: str, tables: Tables, options: ModelOptions) -> list[str]:
    """Return the grades of a scale, plus and minus only when the options allow them."""
    return [
        grade.grade
        for grade in tables.scales[scale].values()
        if options.plus_minus_grades or grade.step == "plain"
    ]
