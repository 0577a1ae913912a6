"""The canonical text of an exam: same content, same bytes, whatever the order of the members.

Members are sorted, findings are sorted by key, numbers keep their digits, members without content
(null, an empty list) are left out, and a converted quantity is written as it was posted. The text
is itself an exam that can be posted.
"""

from __future__ import annotations

import hashlib
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import orjson

from brachium.exam.findings import Converted, Exam, Quantity
from brachium.exam.numbers import written

if TYPE_CHECKING:
    from pydantic import BaseModel


def canonical(exam: Exam) -> bytes:
    """Return the canonical JSON text in UTF-8."""
    content = _members(exam)
    content["findings"] = [
        _members(finding) for finding in sorted(exam.findings, key=lambda one: one.key)
    ]
    return orjson.dumps(content, default=_plain, option=orjson.OPT_SORT_KEYS)


def digest(text: bytes) -> str:
    """Return the SHA-256 of a canonical text in hex."""
    return hashlib.sha256(text).hexdigest()


_NAMES: dict[type[Any], dict[str, str]] = {}


def _names(kind: type[BaseModel]) -> dict[str, str]:
    names = _NAMES.get(kind)
    if names is None:
        names = {name: field.alias or name for name, field in kind.model_fields.items()}
        _NAMES[kind] = names
    return names


def _members(model: BaseModel) -> dict[str, Any]:
    names = _names(type(model))
    return {
        names[name]: value
        for name, value in model.__dict__.items()
        if value is not None and not (type(value) is tuple and not value)
    }


def _plain(value: object) -> Any:  # noqa: ANN401 - what orjson takes
    if isinstance(value, Decimal):
        return orjson.Fragment(written(value))
    if isinstance(value, Converted):
        value = value.original
    if isinstance(value, Quantity):
        # as the members would be, sorted; most models are quantities
        return {"unit": value.unit, "value": orjson.Fragment(written(value.value))}
    if hasattr(value, "model_fields_set"):
        return _members(value)  # type: ignore[arg-type]
    raise TypeError
