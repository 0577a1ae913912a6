"""Small pieces that the schema of an exam is built from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brachium.exam.findings import NOTE_PATTERN

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

Schema = dict[str, Any]

NOTHING: Schema = {"type": "null"}
KEY: Schema = {
    "type": "string",
    "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$",
    "description": "Identity of the finding through all versions of the exam.",
}
SIDE: Schema = {
    "enum": ["left", "right", "both"],
    "description": "both: the same result for each side, or a comparison of the sides.",
}
NOTE: Schema = {
    "type": "string",
    "maxLength": 4000,
    "pattern": NOTE_PATTERN,
    "description": "Free text; kept as written and never looked at by a rule.",
}


def closed(properties: Mapping[str, Any], required: Iterable[str], title: str = "") -> Schema:
    """Return an object schema that takes no other members."""
    schema: Schema = {"title": title} if title else {}
    return {
        **schema,
        "type": "object",
        "properties": dict(properties),
        "required": list(required),
        "additionalProperties": False,
    }


def maybe(schema: Schema) -> Schema:
    """Allow null, which says the same as leaving the member out."""
    return {**schema, "type": [schema["type"], "null"]}


def words(accepted: Iterable[str], *, nullable: bool = False) -> Schema:
    """Return an enum of words, with null when the member may be left empty."""
    values: list[str | None] = list(dict.fromkeys(accepted))
    return {"enum": [*values, None] if nullable else values}


def stated(*names: str) -> Schema:
    """Require members that are not null."""
    return {
        "required": list(names),
        "properties": {name: {"not": NOTHING} for name in names},
    }


def when(conditions: Mapping[str, str], then: Schema) -> Schema:
    """Return an if/then on members with constant values."""
    return {
        "if": {
            "properties": {name: {"const": value} for name, value in conditions.items()},
            "required": list(conditions),
        },
        "then": then,
    }


def digit(digits: Iterable[str]) -> Schema:
    """Return what holds for the member ``digit``: compulsory, or not there."""
    accepted = list(digits)
    if not accepted:
        return {"properties": {"digit": NOTHING}}
    return {"properties": {"digit": words(accepted)}, "required": ["digit"]}


def result_or_absent(result: Schema, members: Iterable[str]) -> Schema:
    """Either the result, or ``absent`` and none of the result's members."""
    without: Schema = dict.fromkeys(members, NOTHING)
    return {
        "oneOf": [
            {"allOf": [result, {"properties": {"absent": NOTHING}}]},
            {**stated("absent"), "allOf": [{"properties": without}]},
        ]
    }
