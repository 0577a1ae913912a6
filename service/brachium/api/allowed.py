"""What a refused parameter may be, in words: made of the service's own limits, never of the input.

The framework tells what broke as an error type of pydantic with its limits in ``ctx``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from pydantic import BaseModel
from starlette.types import Scope

_WORDS: Mapping[str, str] = {
    "literal_error": "{expected}",
    "enum": "{expected}",
    "greater_than_equal": "a whole number, {ge} or more",
    "less_than_equal": "a whole number, {le} or less",
    "int_parsing": "a whole number",
    "int_parsing_size": "a whole number of a few digits",
    "bool_parsing": "true or false",
    "string_pattern_mismatch": "text that fits {pattern}",
}
_UNKNOWN = "extra_forbidden"


def allowed_value(error: Mapping[str, Any], scope: Scope) -> str:
    """Return what may stand there; empty for an error type that has no words here."""
    if error["type"] == _UNKNOWN:
        return names(_parameters(scope))
    return _WORDS.get(error["type"], "").format(**error.get("ctx", {}))


def names(known: Iterable[str]) -> str:
    """Return parameter names as words."""
    return f"parameters: {', '.join(known) or 'none'}"


def _parameters(scope: Scope) -> Iterator[str]:
    """Yield the query parameters of the operation that the request has reached."""
    dependant = getattr(scope.get("route"), "dependant", None)
    for parameter in getattr(dependant, "query_params", ()):
        model = parameter.field_info.annotation
        if isinstance(model, type) and issubclass(model, BaseModel):
            yield from (field.alias or name for name, field in model.model_fields.items())
