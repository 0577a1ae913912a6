"""Small pieces of JSON Schema that the descriptions of answers are made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Schema = dict[str, Any]
TEXT: Schema = {"type": "string"}
COUNT: Schema = {"type": "integer", "minimum": 0}


def object_of(required: Mapping[str, Schema], **optional: Schema) -> Schema:
    """Return the schema of an object with these members and no others."""
    return {
        "type": "object",
        "required": list(required),
        "properties": {**required, **optional},
        "additionalProperties": False,
    }


def ref(name: str) -> Schema:
    """Return a reference to one of the schemas."""
    return {"$ref": f"#/components/schemas/{name}"}


def list_of(item: Schema) -> Schema:
    """Return the schema of a list."""
    return {"type": "array", "items": item}


def maybe(schema: Schema) -> Schema:
    """Return a schema that null fits too."""
    return {"anyOf": [schema, {"type": "null"}]}
