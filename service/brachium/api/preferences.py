"""What a client prefers to be answered after a write (RFC 7240 4.2; FHIR R4 http 3.1.0.1.8)."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from starlette.requests import Request

from brachium.api.answers import header


class Return(StrEnum):
    """How much of what was written comes back."""

    MINIMAL = "return=minimal"
    REPRESENTATION = "return=representation"
    OUTCOME = "return=OperationOutcome"


def asked_return(request: Request, honoured: Iterable[Return] = Return) -> Return | None:
    """Return the first preference that is honoured, or ``None`` when the client has none."""
    value = header(request.scope, b"prefer") or ""
    asked = {part.strip().lower() for part in value.split(",")}
    return next((one for one in honoured if one.lower() in asked), None)


def applied(asked: Return | None) -> dict[str, str]:
    """Return the header that says which preference was honoured."""
    return {"Preference-Applied": asked.value} if asked else {}
